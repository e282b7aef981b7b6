"""What must hold of every ladder, whoever it is for. Each law returns what breaks it."""

import math
from collections.abc import Iterator
from itertools import pairwise

from rungwise.ladder import (
    Body,
    Equipment,
    Ladder,
    Limits,
    Narrowing,
    Rung,
    Stance,
    Support,
    Surface,
    Under,
)

ONE_LEG = (Stance.TOE_TOUCH, Stance.SINGLE_LEG)


def broken_laws(
    ladder: Ladder, body: Body, home: Equipment, limits: Limits, narrowing: Narrowing
) -> list[str]:
    """A line for each law that `ladder` breaks; empty when all hold."""
    found = [
        *_keys(ladder),
        *_steps(ladder, narrowing),
        *_demand(ladder),
        *_forbidden(ladder, body, home, limits),
        *_gates(ladder, limits),
        *_support(ladder, limits),
    ]
    missing = expected_landmarks(body, home, limits) - landmarks(ladder)
    extra = landmarks(ladder) - expected_landmarks(body, home, limits)
    found += [f"missing landmark {one}" for one in sorted(missing)]
    found += [f"unexpected landmark {one}" for one in sorted(extra)]
    return found


def landmarks(ladder: Ladder) -> set[tuple[str, str]]:
    return {(rung.round, rung.landmark) for rung in ladder.rungs if rung.landmark}


def expected_landmarks(body: Body, home: Equipment, limits: Limits) -> set[tuple[str, str]]:
    """The landmarks that this body and home allow, worked out on their own."""
    names: set[tuple[str, str]] = set()
    narrowest = body.narrowest_offset_mm or body.foot_breadth_mm
    soft = [] if limits.no_soft_surface else [1, 2, 4, 8]
    rests = (home.half_foam_whole or home.half_foam_cut) and not limits.no_soft_surface
    for layers in [0, *(n for n in soft if n <= home.mat_layers)]:
        round_ = f"mat{layers}" if layers else "firm"
        wide = (body.hip_width_mm + body.foot_breadth_mm, body.foot_length_mm)
        if not lies_on(home, layers, *wide):
            continue
        names |= _parallel_names(round_, body.hip_width_mm, narrowest, body.foot_breadth_mm)
        if layers and tilt_deg(body, home, layers) <= 10:
            for one in (f"{round_}/front", f"{round_}/back"):
                names |= {(one, "staggered"), (one, "semi_tandem"), (one, "tandem")}
        two_feet = 2 * body.foot_length_mm
        if lies_on(home, layers, wide[0], two_feet + body.ahead_mm):
            names.add((round_, "staggered"))
        if lies_on(home, layers, 2 * body.foot_breadth_mm, two_feet):
            names.add((round_, "semi_tandem"))
        if lies_on(home, layers, body.foot_breadth_mm, two_feet):
            names.add((round_, "tandem"))
        one_and_a_half = body.foot_length_mm + body.foot_length_mm // 2
        if lies_on(home, layers, 2 * body.foot_breadth_mm, one_and_a_half) and (
            rests or not body.big_toe_pain
        ):
            names.add((round_, "toe_touch"))
        names.add((round_, "single_leg"))
    if limits.no_soft_surface:
        return names
    piece = home.half_foam_length_mm // 2
    for lies in ("flat_lengthways", "flat_crossways", "round_lengthways", "round_crossways"):
        round_ = f"foam_{lies}"
        along = lies.endswith("lengthways")
        wide_mm = body.foot_length_mm if along else body.hip_width_mm + body.foot_breadth_mm
        if home.half_foam_cut and wide_mm <= piece:
            end = max(narrowest, home.half_foam_width_mm) if along else narrowest
            start = max(body.hip_width_mm, end)
            names |= _parallel_names(round_, start, end, body.foot_breadth_mm)
            names |= {(one, "staggered") for one in (round_, f"{round_}/front", f"{round_}/back")}
        if home.half_foam_whole and along and 2 * body.foot_length_mm <= home.half_foam_length_mm:
            names.add((round_, "tandem"))
    return names


def lies_on(home: Equipment, layers: int, one_mm: float, other_mm: float) -> bool:
    """Whether a rectangle fits on the mat folded to so many layers, either way round."""
    if not layers or home.mat_length_mm is None or home.mat_width_mm is None:
        return True
    long_mm, short_mm = float(home.mat_length_mm), float(home.mat_width_mm)
    for _ in range(layers.bit_length() - 1):
        long_mm, short_mm = max(long_mm, short_mm) / 2, min(long_mm, short_mm)
    long_mm, short_mm = max(long_mm, short_mm), min(long_mm, short_mm)
    return max(one_mm, other_mm) <= long_mm and min(one_mm, other_mm) <= short_mm


def tilt_deg(body: Body, home: Equipment, layers: int) -> float:
    """By how much one foot on so many layers tilts the hips; 0 where a layer is not known."""
    return math.degrees(math.atan(layers * (home.mat_layer_mm or 0) / body.hip_width_mm))


def _parallel_names(round_: str, start: int, end: int, breadth: int) -> set[tuple[str, str]]:
    names = {(round_, "feet_together" if end == breadth else "feet_narrowest")}
    return names | {(round_, "feet_apart")} if start > end else names


def _keys(ladder: Ladder) -> Iterator[str]:
    keys = [rung.key for rung in ladder.rungs]
    if len(set(keys)) != len(keys):
        yield "keys are not unique"
    climbed = [keys[0]]
    while (up := ladder.above(climbed[-1])) is not None:
        climbed.append(up.key)
    if climbed != keys:
        yield "not every rung is reached by going up"


def _steps(ladder: Ladder, narrowing: Narrowing) -> Iterator[str]:
    for lower, upper in pairwise(ladder.rungs):
        most = narrowing.narrow_mm if upper.surface is Surface.FIRM else narrowing.later_mm
        same_round = lower.round == upper.round
        family = {lower.stance, upper.stance} - {Stance.SEMI_TANDEM, Stance.TANDEM}
        slides = {lower.stance, upper.stance} == {Stance.STAGGERED, Stance.SEMI_TANDEM}
        joined = lower.stance is upper.stance or slides or not family
        if not (same_round and joined):
            continue
        narrower = lower.offset_mm - upper.offset_mm
        shorter = lower.step_mm - upper.step_mm
        if shorter < 0 and _round_the_toe(ladder, lower, upper):
            # The heel cannot pass through the toe: on to the line's first whole step in front.
            if narrower < 0 or upper.demand < lower.demand:
                yield f"{lower.key} to {upper.key} is easier round the toe"
            continue
        if not (0 <= narrower <= most and 0 <= shorter <= most):
            yield f"{lower.key} to {upper.key} moves {narrower} and {shorter} mm, over {most}"
        if sum((narrower > 0, shorter > 0, lower.support is not upper.support)) > 1 and (
            lower.stance is upper.stance
        ):
            yield f"{lower.key} to {upper.key} changes more than one thing"
        if lower.stance is upper.stance and lower.key != upper.key and not (narrower or shorter):
            changed = lower.support is not upper.support or lower.free_foot is not upper.free_foot
            if not changed:
                yield f"{lower.key} to {upper.key} changes nothing"


def _round_the_toe(ladder: Ladder, lower: Rung, upper: Rung) -> bool:
    """From semi-tandem to the heel in front of the toes, or at coarse steps straight to the line.

    The heel goes forward by just what the feet overlapped.
    """
    body = ladder.body
    return (
        body is not None
        and lower.landmark == "semi_tandem"
        and upper.stance in (Stance.SEMI_TANDEM, Stance.TANDEM)
        and upper.step_mm == body.foot_length_mm
        and lower.step_mm == body.foot_length_mm - round(body.foot_length_mm / 5)
    )


def _demand(ladder: Ladder) -> Iterator[str]:
    last: dict[str, Rung] = {}
    for rung in (one for one in ladder.rungs if one.task is None):
        before = last.get(rung.round)
        if before is not None and rung.demand < before.demand:
            yield f"demand falls from {before.key} to {rung.key}"
        if rung.demand < 0:
            yield f"demand of {rung.key} is negative"
        last[rung.round] = rung


def _forbidden(ladder: Ladder, body: Body, home: Equipment, limits: Limits) -> Iterator[str]:
    for rung in ladder.rungs:
        foam = rung.surface is Surface.HALF_FOAM
        if limits.no_soft_surface and (rung.surface is not Surface.FIRM or rung.on_foam):
            yield f"{rung.key} is soft"
        if rung.under in (Under.FRONT, Under.BACK) and rung.surface is Surface.MAT:
            tilt = tilt_deg(body, home, rung.layers)
            if tilt > 10:
                yield f"{rung.key} tilts the pelvis by {tilt:.1f} degrees"
        if rung.layers and rung.under is Under.BOTH and rung.stance is not Stance.TOE_TOUCH:
            long_mm = body.foot_length_mm + rung.step_mm
            if not lies_on(home, rung.layers, body.foot_breadth_mm + rung.offset_mm, long_mm):
                yield f"{rung.key} does not lie on the mat"
        on_whole = foam and rung.stance is Stance.TANDEM
        if on_whole and 2 * body.foot_length_mm > home.half_foam_length_mm:
            yield f"{rung.key} does not lie on the half foam"
        if rung.layers > home.mat_layers:
            yield f"{rung.key} has more layers than the mat"
        if foam and rung.stance not in (Stance.PARALLEL, Stance.STAGGERED, Stance.TANDEM):
            yield f"{rung.key} is not done on half foam"
        if foam and rung.stance is Stance.TANDEM and not home.half_foam_whole:
            yield f"{rung.key} needs a whole half foam"
        if foam and rung.stance is not Stance.TANDEM and not home.half_foam_cut:
            yield f"{rung.key} needs a half foam cut in two"
        if rung.stance is Stance.TOE_TOUCH and rung.on_foam is not body.big_toe_pain:
            yield f"{rung.key} does not spare the toe, or spares one that does not hurt"
        if rung.stance in ONE_LEG and body.no_full_weight in rung.sides:
            yield f"{rung.key} puts full weight on a leg that must not take it"
        if rung.stance not in (Stance.PARALLEL, *ONE_LEG) and len(rung.sides) != 2:
            yield f"{rung.key} is not practised with each foot in front"
        if rung.stance is Stance.PARALLEL and rung.sides:
            yield f"{rung.key} has sides"
        if body.weaker and len(rung.sides) == 2 and rung.sides[0] is not body.weaker:
            yield f"{rung.key} does not begin with the weaker side"
        if rung.stance is Stance.PARALLEL and rung.offset_mm < body.narrowest_mm:
            yield f"{rung.key} is narrower than is comfortable"


def _gates(ladder: Ladder, limits: Limits) -> Iterator[str]:
    firsts: dict[str, str] = {}
    for rung in ladder.rungs:
        if rung.surface is Surface.MAT:
            firsts.setdefault("first_soft", rung.key)
        if rung.surface is Surface.HALF_FOAM:
            firsts.setdefault("first_half_foam", rung.key)
        if rung.stance is Stance.SINGLE_LEG:
            firsts.setdefault("single_leg", rung.key)
    marked = {rung.gate: rung.key for rung in ladder.rungs if rung.gate}
    wanted = {gate: key for gate, key in firsts.items() if gate in limits.closed_gates}
    if marked != wanted:
        yield f"gates are {marked}, not {wanted}"


def _support(ladder: Ladder, limits: Limits) -> Iterator[str]:
    """A new stance, surface or pass starts with hands on the counter; landmarks end at hover.

    For who never leaves the counter both hands stay on it at every rung, and each way to stand
    comes once.
    """
    at_landmarks = Support.TWO_HANDS if limits.two_hands else Support.HOVER
    before: Rung | None = None
    for rung in ladder.rungs:
        new = before is None or (before.round, before.stance) != (rung.round, rung.stance)
        if new and rung.support is Support.HOVER:
            yield f"{rung.key} is new but starts without the counter"
        if limits.two_hands and (rung.support is not Support.TWO_HANDS or rung.task):
            yield f"{rung.key} takes a hand off the counter"
        if rung.landmark and rung.support is not at_landmarks:
            yield f"{rung.key} is a landmark before its end"
        if rung.surface is not Surface.FIRM and rung.under is None:
            yield f"{rung.key} does not say what is soft"
        if rung.under in (Under.FRONT, Under.BACK) and rung.stance in (Stance.PARALLEL, *ONE_LEG):
            yield f"{rung.key} has one foot on the surface in a stance that has none"
        before = rung
