"""The path on one surface: every step from feet apart to one leg, in the order practised."""

from collections.abc import Callable, Iterator, Set
from dataclasses import dataclass, replace
from itertools import groupby

from rungwise.ladder.body import Body, Equipment, Limits, Narrowing
from rungwise.ladder.ground import Ground
from rungwise.ladder.room import why_not
from rungwise.ladder.stance import FreeFoot, Side, Stance, Support, Surface, Task, Under

_FADE = (Support.FINGERTIPS, Support.HOVER)
_FADE_ONE_HAND = (Support.ONE_HAND, *_FADE)
_FADE_TWO_HANDS = (Support.TWO_HANDS, *_FADE_ONE_HAND)

LEAST_MOVE_MM = 5


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the path: how the feet stand, the hands, and what it is to the trade."""

    stance: Stance
    support: Support
    offset_mm: int = 0
    step_mm: int = 0
    under: Under = Under.BOTH
    landmark: str | None = None
    moved_foot: Side | None = None
    free_foot: FreeFoot | None = None
    on_foam: bool = False
    task: Task | None = None


def steps_on(
    ground: Ground, body: Body, equipment: Equipment, limits: Limits, narrowing: Narrowing
) -> Iterator[Step]:
    """Every step on `ground`, in order; without those that there is no room for (room.py)."""
    steps = _steps(ground, body, equipment, limits, narrowing)
    return _both_hands(steps) if limits.two_hands else steps


def _both_hands(steps: Iterator[Step]) -> Iterator[Step]:
    """The same ways to stand, each once, both hands on the counter and nothing beside standing."""

    def feet_alone(step: Step) -> Step:
        return replace(step, support=Support.TWO_HANDS, landmark=None, task=None)

    for feet, alike in groupby(steps, key=feet_alone):
        landmark = next((step.landmark for step in alike if step.landmark), None)
        yield replace(feet, landmark=landmark)


def _steps(
    ground: Ground, body: Body, equipment: Equipment, limits: Limits, narrowing: Narrowing
) -> Iterator[Step]:
    firm = ground.surface is Surface.FIRM
    narrow_mm = narrowing.narrow_mm if firm else narrowing.later_mm
    walk = _Walk(body, narrow_mm, narrowing.one_foot)

    def room(stance: Stance, under: Under = Under.BOTH) -> bool:
        return why_not(ground, stance, under, body, equipment) is None

    if ground.surface is Surface.MAT and not room(Stance.PARALLEL):
        return
    if ground.surface is Surface.HALF_FOAM:
        yield from _on_half_foam(walk, ground, equipment, room)
        return
    if firm:
        # Nothing is added on a soft surface: our choice, no source.
        steps = _whole_round(ground, walk, body, equipment, limits, room)
        yield from _with_tasks(steps, limits.opened_tasks)
        return
    yield from _whole_round(ground, walk, body, equipment, limits, room)


def _with_tasks(steps: Iterator[Step], opened: Set[str]) -> Iterator[Step]:
    """Each landmark followed by what the trainer opened there, the feet staying as they are.

    Nothing is added to a toe touch that spares a sore toe.
    """
    for step in steps:
        yield step
        for task in Task:
            if f"{step.landmark}/{task}" in opened and not step.on_foam:
                yield replace(step, task=task, landmark=None)


def _whole_round(
    ground: Ground,
    walk: "_Walk",
    body: Body,
    equipment: Equipment,
    limits: Limits,
    room: Callable[..., bool],
) -> Iterator[Step]:
    """Side by side to one leg, on the floor or a mat."""
    firm = ground.surface is Surface.FIRM
    yield from walk.parallel(body.narrowest_mm, _FADE if firm else _FADE_ONE_HAND)
    for under in (Under.BOTH,) if firm else (Under.FRONT, Under.BACK, Under.BOTH):
        if room(Stance.STAGGERED, under):
            yield from walk.staggered(under, _FADE)
            yield from walk.slide_back(under)
        if room(Stance.SEMI_TANDEM, under):
            yield from walk.semi_tandem(under)
        if room(Stance.TANDEM, under):
            yield from walk.tandem(under, _FADE)
    if room(Stance.TOE_TOUCH):
        yield from walk.toe_touch(equipment.half_foam and not limits.no_soft_surface)
    yield from walk.single_leg(_FADE_TWO_HANDS if firm else _FADE_ONE_HAND)


def _on_half_foam(
    walk: "_Walk", ground: Ground, equipment: Equipment, room: Callable[..., bool]
) -> Iterator[Step]:
    """Cut in two: parallel and staggered. Whole: tandem only, and only lengthways."""
    if equipment.half_foam_cut and room(Stance.PARALLEL):
        # Lengthways each foot has its own piece, so side by side the pieces touch first.
        # Crossways both feet stand on one piece; in a step each piece lies before the other.
        piece_mm = equipment.half_foam_width_mm if ground.lengthways else 0
        yield from walk.parallel(max(walk.body.narrowest_mm, piece_mm), _FADE_TWO_HANDS)
        for under in (Under.FRONT, Under.BACK, Under.BOTH):
            yield from walk.staggered(under, _FADE_ONE_HAND)
    if equipment.half_foam_whole and ground.lengthways and room(Stance.TANDEM):
        yield from walk.tandem(Under.BOTH, _FADE_TWO_HANDS)


def narrowed_mm(start_mm: int, end_mm: int, narrow_mm: int) -> Iterator[int]:
    """From just below `start_mm` down to `end_mm`; the last step may be shorter."""
    now_mm = start_mm
    while now_mm > end_mm:
        now_mm = max(now_mm - narrow_mm, end_mm)
        yield now_mm


class _Walk:
    """The stances of one round for one body and step size."""

    def __init__(self, body: Body, narrow_mm: int, one_foot: bool) -> None:
        self.body = body
        self._narrow_mm = narrow_mm
        self._one_foot = one_foot

    def parallel(self, end_mm: int, fade: tuple[Support, ...]) -> Iterator[Step]:
        """From hip width down to feet together, or the narrowest there is room for."""
        start_mm = max(self.body.hip_width_mm, end_mm)
        end_name = "feet_together" if end_mm == self.body.foot_breadth_mm else "feet_narrowest"
        start_name = "feet_apart" if start_mm > end_mm else end_name
        for support in fade:
            name = start_name if support is Support.HOVER else None
            yield Step(Stance.PARALLEL, support, start_mm, landmark=name)
        for offset_mm, moved in self._narrowing(start_mm, end_mm):
            name = end_name if offset_mm == end_mm else None
            yield Step(Stance.PARALLEL, Support.HOVER, offset_mm, landmark=name, moved_foot=moved)

    def staggered(self, under: Under, fade: tuple[Support, ...]) -> Iterator[Step]:
        """A comfortable step, from hip width down to inner edges in line."""
        start_mm, end_mm = self.body.hip_width_mm, self.body.foot_breadth_mm
        step_mm = self.body.comfortable_step_mm
        name = "staggered" if start_mm == end_mm else None
        for support in fade:
            here = name if support is Support.HOVER else None
            yield Step(Stance.STAGGERED, support, start_mm, step_mm, under, here)
        for offset_mm, _ in self._narrowing(start_mm, end_mm):
            here = "staggered" if offset_mm == end_mm else None
            yield Step(Stance.STAGGERED, Support.HOVER, offset_mm, step_mm, under, here)

    def slide_back(self, under: Under) -> Iterator[Step]:
        """The front foot slid back, short of its heel lying beside the other big toe."""
        beside_mm = self.body.semi_tandem_step_mm
        for step_mm in narrowed_mm(self.body.comfortable_step_mm, beside_mm, self._narrow_mm):
            if step_mm > beside_mm:
                offset_mm = self.body.foot_breadth_mm
                yield Step(Stance.STAGGERED, Support.HOVER, offset_mm, step_mm, under)

    def semi_tandem(self, under: Under) -> Iterator[Step]:
        """The heel beside the other big toe until they touch, then in front of the toes inward.

        Between the two the heel would stand on the toe. With one foot on a mat its edge lies
        between the feet, so they come no closer than inner edges in line.
        """
        body, wide_mm = self.body, self.body.foot_breadth_mm
        near_mm = body.touching_mm if under is Under.BOTH else wide_mm
        beside_mm, in_front_mm = body.semi_tandem_step_mm, body.foot_length_mm
        for support in _FADE:
            here = support is Support.HOVER and near_mm == wide_mm
            name = "semi_tandem" if here else None
            yield Step(Stance.SEMI_TANDEM, support, wide_mm, beside_mm, under, name)
        for offset_mm, _ in self._narrowing(wide_mm, near_mm):
            name = "semi_tandem" if offset_mm == near_mm else None
            yield Step(Stance.SEMI_TANDEM, Support.HOVER, offset_mm, beside_mm, under, name)
        # Counted from the line outward, so that the offsets are whole steps and the odd
        # remainder is spent first.
        from_line = [wide_mm - narrower_mm for narrower_mm, _ in self._narrowing(wide_mm, 0)]
        for offset_mm in reversed(from_line):
            if 0 < offset_mm <= body.in_front_mm:
                yield Step(Stance.SEMI_TANDEM, Support.HOVER, offset_mm, in_front_mm, under)

    def tandem(self, under: Under, fade: tuple[Support, ...]) -> Iterator[Step]:
        """Heel grazing toe, on one line."""
        for support in fade:
            name = "tandem" if support is Support.HOVER else None
            step_mm = self.body.foot_length_mm
            yield Step(Stance.TANDEM, support, 0, step_mm, under, landmark=name)

    def toe_touch(self, foam_for_toe: bool) -> Iterator[Step]:
        """The other foot's toes resting beside the standing foot, or its ball on half foam.

        With a painful big toe and no half foam there is no toe touch.
        """
        if self.body.big_toe_pain and not foam_for_toe:
            return
        for support in _FADE:
            yield Step(
                Stance.TOE_TOUCH,
                support,
                self.body.foot_breadth_mm,
                self.body.foot_length_mm // 2,
                landmark="toe_touch" if support is Support.HOVER else None,
                on_foam=self.body.big_toe_pain,
            )

    def single_leg(self, fade: tuple[Support, ...]) -> Iterator[Step]:
        """One leg, the free foot beside, then in front, then behind."""
        for free_foot in FreeFoot:
            for support in fade if free_foot is FreeFoot.BESIDE else _FADE:
                end = support is Support.HOVER and free_foot is FreeFoot.BESIDE
                name = "single_leg" if end else None
                yield Step(Stance.SINGLE_LEG, support, landmark=name, free_foot=free_foot)

    def _narrowing(self, start_mm: int, end_mm: int) -> Iterator[tuple[int, Side | None]]:
        """Offsets below `start_mm`, with the foot moved when one moves at a time."""
        if not self._one_foot:
            for offset_mm in narrowed_mm(start_mm, end_mm, self._narrow_mm):
                yield offset_mm, None
            return
        # Half the step for each foot in turn, though nobody places a foot to less than 5 mm; an
        # odd step is split so that a pair makes it up.
        half_mm = self._narrow_mm // 2
        halves = (max(half_mm, LEAST_MOVE_MM), max(self._narrow_mm - half_mm, LEAST_MOVE_MM))
        movers = self.body.both_sides
        now_mm, turn = start_mm, 0
        while now_mm > end_mm:
            now_mm = max(now_mm - halves[turn], end_mm)
            yield now_mm, movers[turn]
            turn = 1 - turn
