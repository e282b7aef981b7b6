"""The tables of the research export: every column with its unit, values and source.

The codebook is written from these, and the rows are checked against them. There is no name, phone,
date or word of a client's in any table: days are counted from each client's first one.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from rungwise.concepts.fall_facts import FALL_FACTS
from rungwise.evidence.comparison import OUTCOMES
from rungwise.evidence.dose import REASONS
from rungwise.ladder.caution import PRESETS


@dataclass(frozen=True, slots=True)
class Column:
    """One column. `kind`: text, whole, number or yes_no; `values` where only these may stand."""

    name: str
    kind: str
    what: str
    unit: str = ""
    values: tuple[str, ...] = ()
    source: str = "told by text"


HERE, TRAINER, RULE = "made here", "the trainer", "the rule"
LOCKED = "written down before the first lot"
_CLIENT = Column("client", "text", "pseudonym, the same in every table", source=HERE)
_DAY = Column("day", "whole", "days since the client's first day", "days", source=HERE)
_ANSWERS = ("no", "yes", "unsure")
_RUNG_WHAT = "key of the rung: ground, stance, distances in mm, support"
_VERDICTS = ("steady", "wobbly", "short", "far_short", "unfinished", "skipped")

TABLES: Mapping[str, tuple[Column, ...]] = {
    "clients": (
        _CLIENT,
        Column("practice", "text", "pseudonym of the practice", source=HERE),
        Column(
            "state",
            "text",
            "where the client stands at the export",
            values=("invited", "active", "resting", "paused", "stopped"),
            source="the service",
        ),
        Column("language", "text", "of the texts, ISO 639-1", source=TRAINER),
        Column("days_followed", "whole", "from the first day to the last", "days", source=HERE),
        Column("planned_days_a_week", "whole", "by the present plan", "days", source=TRAINER),
        Column("target_s", "whole", "hold asked for by the present plan", "s", source=TRAINER),
        Column("foot_length_mm", "whole", "measured", "mm", source=TRAINER),
        Column("foot_breadth_mm", "whole", "measured", "mm", source=TRAINER),
    ),
    "days": (
        _CLIENT,
        _DAY,
        Column("rung", "text", _RUNG_WHAT, source="the rule or the trainer"),
        Column("difficulty", "number", "of the rung; our choice, no source", "logits", source=HERE),
        Column("verdict", "text", "what the day counted as", values=_VERDICTS, source=RULE),
        Column("steadiness", "text", "of the day as a whole", values=("steady", "wobbly")),
        Column("skipped", "yes_no", "told as not practised"),
        Column("fall", "text", "told that day", values=_ANSWERS),
        Column("pain", "text", "told that day", values=_ANSWERS),
        Column("dizzy", "text", "told that day", values=_ANSWERS),
    ),
    "holds": (
        _CLIENT,
        _DAY,
        Column("number", "whole", "place among the day's holds as told, from 1"),
        Column("side", "text", "empty where the rung has none", values=("left", "right", "both")),
        Column("held_s", "number", "held", "s"),
        Column("target_s", "number", "asked for on that day", "s", source=TRAINER),
    ),
    "moves": (
        _CLIENT,
        _DAY,
        Column(
            "kind",
            "text",
            "what was decided",
            values=("up", "stay", "back", "rest", "override"),
            source="the rule, or the trainer for override",
        ),
        Column("from_rung", "text", _RUNG_WHAT, source="the rule or the trainer"),
        Column("to_rung", "text", _RUNG_WHAT, source="the rule or the trainer"),
        Column("rule", "text", "which part of the rule decided", source=RULE),
        Column("rule_version", "whole", "of the rule", source=RULE),
    ),
    "sessions": (
        _CLIENT,
        _DAY,
        Column("planned", "yes_no", "by the plan of that day", source=TRAINER),
        Column("done", "yes_no", "practice told"),
        Column(
            "why_not",
            "text",
            "why a planned one was not done",
            values=tuple(REASONS),
            source="told by text, or the service",
        ),
        Column("holds", "whole", "told"),
        Column("held_s", "number", "all holds of the day together", "s"),
    ),
    "falls": (
        _CLIENT,
        _DAY,
        Column("number", "whole", "place among the client's falls, from 1", source=HERE),
        Column("first_day", "whole", "earliest day it may have been", "days", source=HERE),
        Column("last_day", "whole", "latest day it may have been", "days", source=HERE),
        Column("tellings", "whole", "how often it was told", source=HERE),
        Column("answered_for", "yes_no", "on a day that counts as exposure", source=HERE),
        Column("recorded", "yes_no", "whether a trainer recorded it", source=HERE),
        *(
            Column(name, "text", fact.asked.lower(), values=tuple(fact.answers), source=TRAINER)
            for name, fact in FALL_FACTS.items()
        ),
    ),
    "falls_asked": (
        _CLIENT,
        _DAY,
        Column("since_day", "whole", "asked about the days after this one", "days", source=HERE),
        Column("answer", "text", "empty: none came", values=("no", "yes", "unknown")),
        Column("answered", "yes_no", "whether the time counts as exposure", source=HERE),
    ),
    "follow_up": (
        _CLIENT,
        Column("days_answered", "whole", "exposure to falls", "days", source=HERE),
        Column("days_missing", "whole", "not asked or not answered", "days", source=HERE),
        Column("falls", "whole", "on days answered for", source=HERE),
        Column("falls_elsewhere", "whole", "told of other days", source=HERE),
        Column("days_to_first", "whole", "to the first fall, or to the end", "days", source=HERE),
        Column("fell", "yes_no", "whether days_to_first ends with a fall", source=HERE),
    ),
    "comparison": (
        _CLIENT,
        Column("comparison", "whole", "its number here", source=HERE),
        Column("day", "whole", "of the lot, since the client's first day", "days", source=HERE),
        Column("first", "text", "one setting compared", values=tuple(PRESETS), source=LOCKED),
        Column("second", "text", "the other", values=tuple(PRESETS), source=LOCKED),
        Column("arm", "text", "the setting drawn", values=tuple(PRESETS), source="the lot"),
        Column("place", "whole", "of the lot, from 0", source="the lot"),
        Column("agreed_day", "whole", "on which they agreed", "days", source=TRAINER),
        Column("first_day", "whole", "that counts", "days", source=HERE),
        Column("last_day", "whole", "that counts, if there was one", "days", source=HERE),
        Column("withdrawn_day", "whole", "empty: did not withdraw", "days", source=TRAINER),
        Column("outcome", "text", "compared at the end", values=tuple(OUTCOMES), source=LOCKED),
        Column("mark", "text", "hash of what was locked", source=HERE),
    ),
    "retests": (
        _CLIENT,
        _DAY,
        Column("test", "text", "kind of test", source=TRAINER),
        Column("age_years", "whole", "completed on the day", "years", source=TRAINER),
        Column("sex", "text", "as given for the norms", values=("female", "male"), source=TRAINER),
        Column("value", "number", "headline score; empty: could not be done", source=TRAINER),
        Column("unit", "text", "of the value", source=HERE),
    ),
    "messages": (
        _CLIENT,
        _DAY,
        Column(
            "direction",
            "text",
            "from the service's side; told: entered by a trainer",
            values=("in", "out", "told"),
        ),
        Column("kind", "text", "of a text out", source="the service"),
        Column("state", "text", "how a text out ended", source="the service and the carrier"),
        Column("read_as", "text", "what it was read or entered as", source="the reader"),
        Column("reader_version", "whole", "of the reader", source="the reader"),
    ),
}
