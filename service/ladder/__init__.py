"""The ladder and the decision: pure, no clock, no database, no network."""

from service.ladder.body import (
    GATES,
    Body,
    Equipment,
    Limits,
    Narrowing,
    Profile,
    profile_from_json,
    profile_to_json,
)
from service.ladder.build import build_ladder
from service.ladder.footprint import Base, Placement, base_of_support, place
from service.ladder.keys import KeyParts, parse_key
from service.ladder.places import Kept, keep_place
from service.ladder.rungs import Ladder, Rung
from service.ladder.stance import (
    Answer,
    FreeFoot,
    Side,
    Stance,
    Steadiness,
    Support,
    Surface,
    Under,
)

__all__ = [
    "GATES",
    "Answer",
    "Base",
    "Body",
    "Equipment",
    "FreeFoot",
    "Kept",
    "KeyParts",
    "Ladder",
    "Limits",
    "Narrowing",
    "Placement",
    "Profile",
    "Rung",
    "Side",
    "Stance",
    "Steadiness",
    "Support",
    "Surface",
    "Under",
    "base_of_support",
    "build_ladder",
    "keep_place",
    "parse_key",
    "place",
    "profile_from_json",
    "profile_to_json",
]
