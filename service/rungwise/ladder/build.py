"""`build_ladder`: a client's own rungs, from body, equipment, limits and step size."""

from collections.abc import Iterable, Iterator
from dataclasses import replace

from rungwise.errors import ImpossibleValue
from rungwise.ladder.body import Body, Equipment, Limits, Narrowing
from rungwise.ladder.demand import feet_demands, surface_term, total
from rungwise.ladder.ground import Ground
from rungwise.ladder.keys import make_key, round_name
from rungwise.ladder.path import Step, steps_on
from rungwise.ladder.places import nearest_not_harder
from rungwise.ladder.room import LeftOut, left_out
from rungwise.ladder.rungs import Ladder, Rung
from rungwise.ladder.stance import Side, Stance, Surface, Under

NO_NARROWING = Narrowing()
_SIDED = frozenset(
    {Stance.STAGGERED, Stance.SEMI_TANDEM, Stance.TANDEM, Stance.TOE_TOUCH, Stance.SINGLE_LEG}
)
_STANDING = frozenset({Stance.TOE_TOUCH, Stance.SINGLE_LEG})


def build_ladder(
    body: Body, equipment: Equipment, limits: Limits, narrowing: Narrowing = NO_NARROWING
) -> Ladder:
    """The client's whole ladder: the stance sequence on each surface, firm ground first.

    Pure and deterministic. Raises ImpossibleValue when there is no firm floor or no steady
    counter: nobody is to start without them.
    """
    _check_home(equipment)
    laid = [
        (ground, step)
        for ground in grounds(equipment, limits)
        for step in steps_on(ground, body, equipment, limits, narrowing)
    ]
    feet = feet_demands(body, {(step.stance, step.offset_mm, step.step_mm) for _, step in laid})
    gates = _Gates(limits.closed_gates)
    sides = {stance: _sides(body, stance) for stance in Stance}
    rungs = []
    for ground, step in laid:
        under = _under(ground, step)
        rungs.append(
            _rung(
                body,
                ground,
                step,
                under,
                sides=sides[step.stance],
                gate=gates.at(ground, step),
                demand=total(
                    feet[step.stance, step.offset_mm, step.step_mm],
                    surface_term(ground.surface, ground.layers, ground.orientation, under),
                    step.support,
                    step.free_foot,
                    step.on_foam,
                    step.task,
                ),
            )
        )
    ladder = Ladder(tuple(rungs), body)
    return ladder if limits.ceiling_key is None else _below_ceiling(ladder, limits.ceiling_key)


def rung_alone(
    key: str,
    body: Body,
    equipment: Equipment,
    limits: Limits,
    narrowing: Narrowing = NO_NARROWING,
) -> Rung:
    """The rung of that key for a text, in a fraction of the time that its whole ladder takes.

    It stands as in the ladder; gate and demand, which count only among other rungs, are left out.
    Raises KeyError when the ladder has no such rung, and what `build_ladder` raises.
    """
    if limits.ceiling_key is not None:
        # Only the whole ladder shows what lies above it.
        whole = build_ladder(body, equipment, limits, narrowing)
        return replace(whole[key], gate=None, demand=0.0)
    _check_home(equipment)
    for ground in grounds(equipment, limits):
        here = round_name(ground.surface, ground.layers, ground.orientation, None)
        if not key.startswith(f"{here}/"):
            continue
        for step in steps_on(ground, body, equipment, limits, narrowing):
            if not key.endswith(step.task or step.support) or step.stance not in key:
                continue  # told apart without making its key
            under = _under(ground, step)
            if _key(body, ground, step, under) == key:
                sides = _sides(body, step.stance)
                return _rung(body, ground, step, under, sides=sides, gate=None, demand=0.0)
    raise KeyError(key)


def left_out_of(body: Body, equipment: Equipment, limits: Limits) -> tuple[LeftOut, ...]:
    """What the ladder has not for want of room or height, each with a reason for the trainer."""
    return tuple(left_out(body, equipment, limits, grounds(equipment, limits)))


def grounds(equipment: Equipment, limits: Limits) -> tuple[Ground, ...]:
    """The surfaces that the client may practise on, in order; firm ground first."""
    found = [Ground(Surface.FIRM)]
    if limits.no_soft_surface:
        return tuple(found)
    found += [
        Ground(Surface.MAT, layers=layers)
        for layers in (1, 2, 4, 8)
        if layers <= equipment.mat_layers
    ]
    for orientation in ("flat_lengthways", "flat_crossways", "round_lengthways", "round_crossways"):
        # A whole half foam is only stood on in tandem, and crossways it is too narrow for that.
        if equipment.half_foam_cut or (
            equipment.half_foam_whole and orientation.endswith("lengthways")
        ):
            found.append(Ground(Surface.HALF_FOAM, orientation=orientation))
    return tuple(found)


def _under(ground: Ground, step: Step) -> Under | None:
    """Which foot is on the soft surface; None on firm ground."""
    return None if ground.surface is Surface.FIRM else step.under


def _check_home(equipment: Equipment) -> None:
    if not equipment.firm_floor:
        raise ImpossibleValue(
            "firm_floor", False, "true: practice starts on firm ground, so find a firm floor first"
        )
    if not equipment.steady_counter:
        raise ImpossibleValue(
            "steady_counter",
            False,
            "true: practice is always beside something steady, so find a counter first",
        )


def _rung(
    body: Body,
    ground: Ground,
    step: Step,
    under: Under | None,
    *,
    sides: tuple[Side, ...],
    gate: str | None,
    demand: float,
) -> Rung:
    stance = step.stance
    ahead_mm = step.step_mm - body.foot_length_mm
    in_front = stance in (Stance.STAGGERED, Stance.SEMI_TANDEM, Stance.TANDEM)
    beside = stance in (Stance.PARALLEL, Stance.STAGGERED, Stance.SEMI_TANDEM)
    return Rung(
        key=_key(body, ground, step, under),
        stance=stance,
        offset_mm=step.offset_mm,
        step_mm=step.step_mm,
        surface=ground.surface,
        support=step.support,
        round=round_name(ground.surface, ground.layers, ground.orientation, under),
        layers=ground.layers,
        orientation=ground.orientation,
        under=under,
        free_foot=step.free_foot,
        moved_foot=step.moved_foot,
        sides=sides,
        gate=gate,
        landmark=step.landmark,
        demand=demand,
        gap_mm=step.offset_mm - body.foot_breadth_mm if beside else None,
        ahead_mm=ahead_mm if in_front else None,
        on_foam=step.on_foam,
        task=step.task,
    )


def _key(body: Body, ground: Ground, step: Step, under: Under | None) -> str:
    return make_key(
        round_name(ground.surface, ground.layers, ground.orientation, under),
        step.stance,
        step.support,
        offset_mm=step.offset_mm,
        ahead_mm=step.step_mm - body.foot_length_mm,
        on_foam=step.on_foam,
        free_foot=step.free_foot,
        task=step.task,
    )


def _sides(body: Body, stance: Stance) -> tuple[Side, ...]:
    if stance in _STANDING:
        return body.standing_sides
    return body.both_sides if stance in _SIDED else ()


class _Gates:
    """Marks each gate on the first rung that lies past it."""

    def __init__(self, closed: Iterable[str]) -> None:
        self._left = set(closed)

    def at(self, ground: Ground, step: Step) -> str | None:
        for gate in self._wanted(ground, step):
            if gate in self._left:
                self._left.remove(gate)
                return gate
        return None

    @staticmethod
    def _wanted(ground: Ground, step: Step) -> Iterator[str]:
        if ground.surface is Surface.HALF_FOAM:
            yield "first_half_foam"
        elif ground.surface is Surface.MAT:
            yield "first_soft"
        if step.stance is Stance.SINGLE_LEG:
            yield "single_leg"


def _below_ceiling(ladder: Ladder, ceiling_key: str) -> Ladder:
    top = ladder.index(nearest_not_harder(ceiling_key, ladder).key)
    return replace(ladder, rungs=ladder.rungs[: top + 1])
