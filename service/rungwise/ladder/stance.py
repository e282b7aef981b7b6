"""The trade's words for how someone stands: stance, side, surface, what is under, support."""

from enum import StrEnum
from typing import Literal


class Side(StrEnum):
    """A foot. In a staggered stance it names the foot in front; on one leg, the standing foot."""

    LEFT = "left"
    RIGHT = "right"

    @property
    def other(self) -> "Side":
        return Side.RIGHT if self is Side.LEFT else Side.LEFT


class Stance(StrEnum):
    """How the feet stand, in the order in which they are practised."""

    PARALLEL = "parallel"
    STAGGERED = "staggered"
    SEMI_TANDEM = "semi_tandem"
    TANDEM = "tandem"
    TOE_TOUCH = "toe_touch"
    SINGLE_LEG = "single_leg"


class Surface(StrEnum):
    FIRM = "firm"
    MAT = "mat"
    HALF_FOAM = "half_foam"


class Under(StrEnum):
    """Which foot is on the soft surface."""

    FRONT = "front"
    BACK = "back"
    BOTH = "both"


class Support(StrEnum):
    """What the hands do, most support first."""

    TWO_HANDS = "two_hands"
    ONE_HAND = "one_hand"
    FINGERTIPS = "fingertips"
    HOVER = "hover"


class FreeFoot(StrEnum):
    """Where the free foot is on one leg."""

    BESIDE = "beside"
    FRONT = "front"
    BEHIND = "behind"


class Task(StrEnum):
    """What makes a landmark harder without moving the feet, from the mildest."""

    SHIFT = "shift"  # the weight slowly from foot to foot
    HEAD = "head"  # turning slowly from side to side
    ARMS = "arms"  # folded, the counter within reach
    COUNT = "count"  # counting backwards aloud


Answer = Literal["yes", "no", "unsure"]
Steadiness = Literal["steady", "wobbly"]
