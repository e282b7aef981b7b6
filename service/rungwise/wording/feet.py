"""How a client is told to place the feet: which words, and what those words ask for in mm."""

from dataclasses import dataclass

from rungwise.ladder.body import Body
from rungwise.ladder.rungs import Rung
from rungwise.ladder.stance import Side, Stance
from rungwise.wording.distances import HIPS, room_word

_MEASURED = (Stance.PARALLEL, Stance.STAGGERED, Stance.SEMI_TANDEM)


@dataclass(frozen=True, slots=True)
class Feet:
    """The name of a sentence, its word for a distance if it has one, and what is asked for.

    `across_mm` is between the centre lines and `along_mm` between the heels, front to back.
    """

    name: str
    room: str
    across_mm: int
    along_mm: int


def feet_told(rung: Rung, body: Body, *, tape: bool = False) -> Feet:
    """The sentence for `rung`: in words that need no ruler, or with a tape its marks.

    Where nothing has to be measured (touching, heel to toe, one leg) both are the same. The mm
    are never less than the rung's.
    """
    words = _in_words(rung, body)
    touching = words.name in ("parallel_together", "semi_line")
    if not tape or touching or rung.stance not in _MEASURED:
        return words
    if rung.stance is Stance.PARALLEL:
        return Feet("parallel_marks", "", rung.offset_mm, 0)
    lead = rung.sides[0] if rung.sides else Side.RIGHT
    return Feet(f"{lead}_ahead_marks", "", rung.offset_mm, rung.step_mm)


def _in_words(rung: Rung, body: Body) -> Feet:
    match rung.stance:
        case Stance.PARALLEL:
            return _side_by_side(rung, body)
        case Stance.STAGGERED:
            return _a_step_ahead(rung, body)
        case Stance.SEMI_TANDEM:
            return _at_the_toes(rung, body)
        case Stance.TOE_TOUCH:
            name = "toe_on_foam" if rung.on_foam else "toe_touch"
            return Feet(name, "", rung.offset_mm, rung.step_mm)
        case Stance.SINGLE_LEG:
            return Feet(f"single_{rung.free_foot}", "", 0, 0)
        case Stance.TANDEM:
            return Feet("tandem", "", rung.offset_mm, rung.step_mm)


def _side_by_side(rung: Rung, body: Body) -> Feet:
    breadth_mm = body.foot_breadth_mm
    if rung.offset_mm <= breadth_mm:
        return Feet("parallel_together", "", breadth_mm, 0)
    room, room_mm = room_word(rung.offset_mm - breadth_mm, body.hip_width_mm - breadth_mm)
    if room == HIPS:
        return Feet("parallel_hips", "", body.hip_width_mm, 0)
    return Feet("parallel", room, breadth_mm + room_mm, 0)


def _a_step_ahead(rung: Rung, body: Body) -> Feet:
    """A step, half a step or level with the toes, whichever is next longer; then the gap."""
    breadth_mm, length_mm = body.foot_breadth_mm, body.foot_length_mm
    if rung.offset_mm > breadth_mm:
        room, room_mm = room_word(rung.offset_mm - breadth_mm, body.hip_width_mm - breadth_mm)
        name = "staggered_hips" if room == HIPS else "staggered"
        across_mm = breadth_mm + room_mm
        return Feet(name, "" if room == HIPS else room, across_mm, body.comfortable_step_mm)
    half_mm = length_mm + body.ahead_mm // 2
    if rung.step_mm > half_mm:
        return Feet("staggered_line", "", breadth_mm, body.comfortable_step_mm)
    if rung.step_mm > length_mm:
        return Feet("half_step", "", breadth_mm, half_mm)
    return Feet("level", "", breadth_mm, length_mm)


def _at_the_toes(rung: Rung, body: Body) -> Feet:
    """Beside the big toe as near as touching, or in front of the toes so far off one line."""
    touching_mm = body.touching_mm
    if rung.offset_mm > touching_mm:
        room, room_mm = room_word(rung.offset_mm - touching_mm)
        return Feet("semi_beside", room, touching_mm + room_mm, body.semi_tandem_step_mm)
    room, room_mm = room_word(rung.offset_mm)
    if rung.offset_mm == touching_mm or room_mm > touching_mm:
        return Feet("semi_line", "", touching_mm, rung.step_mm)
    return Feet("semi", room, room_mm, body.foot_length_mm)
