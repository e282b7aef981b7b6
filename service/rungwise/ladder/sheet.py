"""The sheet a rung is drawn on: its frame, extent, colours and words."""

from dataclasses import dataclass, field

from rungwise.concepts.measures import Lengths, exact, room
from rungwise.ladder import svg
from rungwise.ladder.body import Body
from rungwise.ladder.footprint import Foot, Placement
from rungwise.ladder.palette import Palette
from rungwise.ladder.rungs import Rung
from rungwise.ladder.stance import Side, Stance, Surface

USUAL_WIDTH_MM = 760
LABEL_MM = 150  # room for a foot's label beside it
COUNTER_MM = 140
TO_TOES_MM = 60
BELOW_MM = 115  # for the distance between the feet, under the heels
LEGEND_MM = 66
SMALL, NORMAL, LARGE = 32, 36, 42  # sizes of letters


@dataclass(frozen=True, slots=True)
class PictureWords:
    """The words in a drawing, in one language; with its decimal point and units."""

    left: str = "Left"
    right: str = "Right"
    in_front: str = "in front"
    stand_on: str = "stand on it"
    toes_only: str = "toes only"
    resting: str = "resting"
    lifted: str = "lifted"
    apart: str = "{length} apart"
    between: str = "{length}, middle to middle"
    off_line: str = "{length} off one line"
    ahead: str = "ahead"
    heel_to_heel: str = "heel to heel"
    touching: str = "touching"
    counter: str = "Counter"
    two_hands: str = "both hands on it"
    one_hand: str = "one hand on it"
    fingertips: str = "fingertips on it"
    hover: str = "hands just above it"
    task_shift: str = "weight from foot to foot"
    task_head: str = "head turning slowly"
    task_arms: str = "arms folded, counter in reach"
    task_count: str = "counting back aloud"
    mat_one: str = "Mat"
    mat: str = "Mat, {layers} layers"
    foam_flat: str = "Half foam, flat side up"
    foam_round: str = "Half foam, round side up"
    foam_rest: str = "Half foam, big toe off its edge"
    decimal: str = "."
    lengths: Lengths = "cm"


@dataclass(frozen=True, slots=True)
class Piece:
    """A rectangle of mat or half foam as seen from above, in the ladder's frame, mm."""

    left_mm: float
    right_mm: float
    back_mm: float
    front_mm: float


def soft_names(rung: Rung, words: PictureWords) -> tuple[str, ...]:
    """What is soft on this rung, a name each."""
    names = []
    if rung.surface is Surface.MAT:
        names.append(words.mat_one if rung.layers == 1 else words.mat.format(layers=rung.layers))
    if rung.surface is Surface.HALF_FOAM:
        round_up = str(rung.orientation).startswith("round")
        names.append(words.foam_round if round_up else words.foam_flat)
    if rung.on_foam:
        names.append(words.foam_rest)
    return tuple(names)


@dataclass(frozen=True, slots=True)
class Sheet:
    """Everything a drawing is made from. The ladder's y points forward, the sheet's down."""

    rung: Rung
    body: Body
    placement: Placement
    palette: Palette
    words: PictureWords
    for_client: bool
    pieces: tuple[Piece, ...]
    _origin: svg.Point = field(init=False, repr=False)

    def __post_init__(self) -> None:
        # Where the ladder's (0, 0) lies on the sheet; asked for at every point of an outline.
        origin = self.width / 2, COUNTER_MM + TO_TOES_MM + self.top_mm
        object.__setattr__(self, "_origin", origin)

    @property
    def top_mm(self) -> float:
        """The foremost point drawn, of toes or soft pieces."""
        toes = [
            foot.y_mm + self.body.foot_length_mm
            for foot in (self.placement.left, self.placement.right)
        ]
        return max(*toes, *(piece.front_mm for piece in self.pieces))

    @property
    def low_mm(self) -> float:
        """The hindmost point drawn, of heels or soft pieces."""
        heels = (self.placement.left.y_mm, self.placement.right.y_mm)
        return min(*heels, *(piece.back_mm for piece in self.pieces))

    @property
    def width(self) -> float:
        reach_mm = max(self.clear_mm(self.placement.left), self.clear_mm(self.placement.right))
        return max(USUAL_WIDTH_MM, 2 * (reach_mm + LABEL_MM))

    def clear_mm(self, foot: Foot) -> float:
        """How far out a label beside `foot` starts: past the foot, or past what would cross it."""
        out = -1 if foot.side is Side.LEFT else 1
        y_mm = foot.y_mm + 0.5 * self.body.foot_length_mm
        reach_mm = out * foot.x_mm + self.body.foot_breadth_mm / 2
        crossing = [piece for piece in self.pieces if piece.back_mm < y_mm < piece.front_mm]
        for edge_mm in sorted(
            out * (piece.left_mm if out < 0 else piece.right_mm) for piece in crossing
        ):
            if 0 <= edge_mm - reach_mm < LABEL_MM:
                reach_mm = edge_mm
        return reach_mm

    @property
    def height(self) -> float:
        below = BELOW_MM if self.measured_across else 30
        legend = LEGEND_MM * len(soft_names(self.rung, self.words))
        return COUNTER_MM + TO_TOES_MM + (self.top_mm - self.low_mm) + below + legend

    def legend_y(self, row: int) -> float:
        """Where a row of the legend stands, counted from 0 at the top."""
        rows = len(soft_names(self.rung, self.words))
        return self.height - LEGEND_MM * (rows - row - 0.5)

    @property
    def measured_across(self) -> bool:
        """Whether the distance from foot to foot is written under the heels."""
        rung = self.rung
        if rung.stance in (Stance.TANDEM, Stance.TOE_TOUCH, Stance.SINGLE_LEG):
            return False
        touching = self.for_client and self.free_mm == 0
        return rung.stance is Stance.PARALLEL or not touching

    @property
    def free_mm(self) -> int | None:
        """What a client can see free between feet beside each other; None one before the other.

        Beside the big toe it is from the side of the heel to the side of the toe.
        """
        rung = self.rung
        if rung.stance is Stance.SEMI_TANDEM:
            beside = (rung.ahead_mm or 0) < 0 or rung.offset_mm >= self.body.touching_mm
            return max(rung.offset_mm - self.body.touching_mm, 0) if beside else None
        return max(rung.gap_mm or 0, 0)

    def at(self, x_mm: float, y_mm: float) -> svg.Point:
        """A point of the ladder's frame, on the sheet."""
        return self._origin[0] + x_mm, self._origin[1] - y_mm

    def length(self, length_mm: float) -> str:
        """Exact for the trainer, never less room than is meant for the client."""
        written = room if self.for_client else exact
        return written(length_mm, self.words.lengths, self.words.decimal)
