"""Published standing tests, norms, changes and rates: pure, no clock, no database, no network.

Rates and times to landmarks load SciPy, and what is thought of a client's course loads numpy; they
are imported by themselves: rungwise.evidence.rates, rungwise.evidence.survival and
rungwise.evidence.decline.
"""

from rungwise.evidence.change import Change, Scored, change, mdc95_of, sem_of
from rungwise.evidence.fear import Fear, fear
from rungwise.evidence.four_stage import FourStage, four_stage
from rungwise.evidence.instructions import Instruction, instruction
from rungwise.evidence.one_leg import OneLeg, one_leg
from rungwise.evidence.retest import (
    KINDS,
    Entry,
    Kind,
    kind_of,
    score,
    score_to_json,
    values_from_form,
)
from rungwise.evidence.sources import NOT_A_DIAGNOSIS, Finding, Norm, Source
from rungwise.evidence.sppb import Sppb, sppb
from rungwise.evidence.stands import ChairStand, FiveStands, chair_stand_30s, five_stands
from rungwise.evidence.tug import Tug, tug
from rungwise.evidence.visits import VISIT_RULES, ClientSeen, DaySeen, Flag, Reason, rank, reasons

__all__ = [
    "KINDS",
    "NOT_A_DIAGNOSIS",
    "VISIT_RULES",
    "ChairStand",
    "Change",
    "ClientSeen",
    "DaySeen",
    "Entry",
    "Fear",
    "Finding",
    "FiveStands",
    "Flag",
    "FourStage",
    "Instruction",
    "Kind",
    "Norm",
    "OneLeg",
    "Reason",
    "Scored",
    "Source",
    "Sppb",
    "Tug",
    "chair_stand_30s",
    "change",
    "fear",
    "five_stands",
    "four_stage",
    "instruction",
    "kind_of",
    "mdc95_of",
    "one_leg",
    "rank",
    "reasons",
    "score",
    "score_to_json",
    "sem_of",
    "sppb",
    "tug",
    "values_from_form",
]
