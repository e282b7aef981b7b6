"""What a client's mat and half foam have room for, and why the ladder leaves a stance out.

A mat is folded by halving its longer side, as often as its layers double; the stance must fit on
what is left, along either side. With one foot on a mat the pelvis tilts: by the angle whose
tangent is the height under that foot over the distance between the hip joints, with both knees
straight and the mat not pressed down. Past PELVIS_TILT_DEG the ladder has no such rung. That angle
is common practice, no source.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from math import atan2, degrees

from rungwise.ladder.body import Body, Equipment, Limits
from rungwise.ladder.ground import Ground
from rungwise.ladder.stance import Stance, Surface, Under

PELVIS_TILT_DEG = 10.0
_ONE_FOOT = (Under.FRONT, Under.BACK)
_IN_FRONT = (Stance.STAGGERED, Stance.SEMI_TANDEM, Stance.TANDEM)


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A stance that a ground would have, and why this client's ladder has it not."""

    ground: Ground
    stance: Stance
    under: Under
    because: str


def left_out(
    body: Body, equipment: Equipment, limits: Limits, grounds: tuple[Ground, ...]
) -> Iterator[LeftOut]:
    """What is left out on `grounds`, each with its reason in one sentence for the trainer."""
    for ground in grounds:
        for stance in _stances_on(ground, equipment):
            passes = (*_ONE_FOOT, Under.BOTH) if stance in _IN_FRONT else (Under.BOTH,)
            soft_passes = (Under.BOTH,) if ground.surface is not Surface.MAT else passes
            for under in soft_passes:
                because = why_not(ground, stance, under, body, equipment)
                if because is not None:
                    yield LeftOut(ground, stance, under, because)
    if body.big_toe_pain and (limits.no_soft_surface or not equipment.half_foam):
        because = "A sore big toe rests on half foam, and there is none."
        yield LeftOut(grounds[0], Stance.TOE_TOUCH, Under.BOTH, because)


def _stances_on(ground: Ground, equipment: Equipment) -> tuple[Stance, ...]:
    if ground.surface is Surface.FIRM:
        return ()
    if ground.surface is Surface.MAT:
        return tuple(Stance)
    whole = equipment.half_foam_whole and ground.lengthways
    cut = (Stance.PARALLEL, Stance.STAGGERED) if equipment.half_foam_cut else ()
    return (*cut, *((Stance.TANDEM,) if whole else ()))


def why_not(
    ground: Ground, stance: Stance, under: Under, body: Body, equipment: Equipment
) -> str | None:
    """Why there is no such rung, in one sentence; None where there is room for it."""
    if ground.surface is Surface.MAT:
        if under in _ONE_FOOT:
            return _too_tilted(ground, body, equipment)
        return _too_small_a_mat(ground, stance, body, equipment)
    if ground.surface is Surface.HALF_FOAM:
        return _too_short_a_foam(ground, stance, body, equipment)
    return None


def pelvis_tilt_deg(height_mm: float, hip_width_mm: float) -> float:
    """How far the pelvis tilts with one foot `height_mm` higher, both knees straight."""
    return degrees(atan2(height_mm, hip_width_mm))


def folded_mm(length_mm: int, width_mm: int, layers: int) -> tuple[float, float]:
    """The longer and the shorter side of a mat folded to so many layers."""
    sides = [float(length_mm), float(width_mm)]
    while layers > 1:
        sides.sort()
        sides[1] /= 2
        layers //= 2
    return max(sides), min(sides)


def stance_mm(stance: Stance, body: Body) -> tuple[int, int]:
    """How long and how wide the stance is at its largest, toes and outer edges included."""
    length_mm, breadth_mm = body.foot_length_mm, body.foot_breadth_mm
    hips_mm = body.hip_width_mm + breadth_mm
    match stance:
        case Stance.PARALLEL:
            return length_mm, hips_mm
        case Stance.STAGGERED:
            return length_mm + body.comfortable_step_mm, hips_mm
        case Stance.SEMI_TANDEM:
            return 2 * length_mm, 2 * breadth_mm
        case Stance.TANDEM:
            return 2 * length_mm, breadth_mm
        case Stance.TOE_TOUCH:
            return length_mm + length_mm // 2, 2 * breadth_mm
        case Stance.SINGLE_LEG:
            return length_mm, breadth_mm


def _too_tilted(ground: Ground, body: Body, equipment: Equipment) -> str | None:
    if equipment.mat_layer_mm is None:
        return None
    height_mm = ground.layers * equipment.mat_layer_mm
    tilt = pelvis_tilt_deg(height_mm, body.hip_width_mm)
    if tilt <= PELVIS_TILT_DEG:
        return None
    return (
        f"One foot on {height_mm / 10:g} cm of mat would tilt the pelvis by {tilt:.0f}\u00b0, more "
        f"than {PELVIS_TILT_DEG:g}\u00b0."
    )


def _too_small_a_mat(
    ground: Ground, stance: Stance, body: Body, equipment: Equipment
) -> str | None:
    if equipment.mat_length_mm is None or equipment.mat_width_mm is None:
        return None
    longer_mm, shorter_mm = folded_mm(
        equipment.mat_length_mm, equipment.mat_width_mm, ground.layers
    )
    needs = sorted(stance_mm(stance, body), reverse=True)
    if needs[0] <= longer_mm and needs[1] <= shorter_mm:
        return None
    return (
        f"Folded to this, the mat is {_cm(longer_mm)} by {_cm(shorter_mm)} cm, and the stance "
        f"takes {_cm(needs[0])} by {_cm(needs[1])} cm."
    )


def _too_short_a_foam(
    ground: Ground, stance: Stance, body: Body, equipment: Equipment
) -> str | None:
    if stance is Stance.TANDEM:
        has_mm, needs_mm = equipment.half_foam_length_mm, stance_mm(stance, body)[0]
        name = "The half foam"
    else:
        has_mm, name = equipment.half_foam_piece_mm, "A piece of the half foam"
        # Crossways both feet side by side stand on one piece.
        needs_mm = body.foot_length_mm if ground.lengthways else stance_mm(Stance.PARALLEL, body)[1]
    if needs_mm <= has_mm:
        return None
    return f"{name} is {_cm(has_mm)} cm long, and the stance takes {_cm(needs_mm)} cm of it."


def _cm(length_mm: float) -> str:
    return f"{length_mm / 10:.1f}".removesuffix(".0")
