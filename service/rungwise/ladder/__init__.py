"""The ladder and the decision: pure, no clock, no database, no network.

Imported by themselves: the drawings (rungwise.ladder.drawing), and what needs numpy:
rungwise.ladder.belief, rungwise.ladder.climb, and the simulator, the exact calculation and their
figures in rungwise.ladder.simulate, rungwise.ladder.staircase and rungwise.ladder.tally.
"""

from rungwise.ladder.body import (
    GATES,
    Body,
    Equipment,
    Limits,
    Narrowing,
    Profile,
    profile_from_json,
    profile_from_stored,
    profile_to_json,
)
from rungwise.ladder.build import build_ladder
from rungwise.ladder.caution import PRESETS, SAFE_BOUNDS, Caution
from rungwise.ladder.day import DayReport, SideHold, judge_day
from rungwise.ladder.estimate import chances, next_chance
from rungwise.ladder.explain import explain_next
from rungwise.ladder.keys import KeyParts, parse_key
from rungwise.ladder.places import Kept, keep_place
from rungwise.ladder.progression import (
    NEWEST_RULE,
    RULE_VERSIONS,
    RULES,
    Chance,
    Move,
    PastDay,
    Plan,
    caution_for,
    decide,
    decide_absence,
    is_resting,
    override_move,
)
from rungwise.ladder.rungs import Ladder, Rung
from rungwise.ladder.stance import (
    Answer,
    FreeFoot,
    Side,
    Stance,
    Steadiness,
    Support,
    Surface,
    Task,
    Under,
)

__all__ = [
    "GATES",
    "NEWEST_RULE",
    "PRESETS",
    "RULES",
    "RULE_VERSIONS",
    "SAFE_BOUNDS",
    "Answer",
    "Body",
    "Caution",
    "Chance",
    "DayReport",
    "Equipment",
    "FreeFoot",
    "Kept",
    "KeyParts",
    "Ladder",
    "Limits",
    "Move",
    "Narrowing",
    "PastDay",
    "Plan",
    "Profile",
    "Rung",
    "Side",
    "SideHold",
    "Stance",
    "Steadiness",
    "Support",
    "Surface",
    "Task",
    "Under",
    "build_ladder",
    "caution_for",
    "chances",
    "decide",
    "decide_absence",
    "explain_next",
    "is_resting",
    "judge_day",
    "keep_place",
    "next_chance",
    "override_move",
    "parse_key",
    "profile_from_json",
    "profile_from_stored",
    "profile_to_json",
]
