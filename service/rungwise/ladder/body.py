"""What a ladder is computed from: the client's body, equipment and limits, and the step size."""

from collections.abc import Mapping, Set
from dataclasses import asdict, dataclass, field, fields, replace
from functools import cache
from math import ceil, floor
from typing import Any

from rungwise.errors import ImpossibleValue
from rungwise.ladder.anthropometry import USUAL_HIP_WIDTH_MM, Sex, estimated_foot_mm
from rungwise.ladder.keys import is_key
from rungwise.ladder.stance import Side, Task

FOOT_LENGTH_MM = (170, 340)
FOOT_BREADTH_MM = (60, 150)
HIP_WIDTH_MM = (100, 280)
NARROW_MM = (5, 30)
HOLD_S = (10, 30)
AHEAD_MM = (30, 200)
FOAM_WIDTH_MM = (80, 200)
FOAM_LENGTH_MM = (300, 1200)
MAT_LAYERS = (0, 1, 2, 4, 8)
MAT_LAYER_MM = (2, 30)
MAT_SIDE_MM = (200, 3000)

# The free part of the big toe, as a share of the foot's length (from memory).
BIG_TOE_SHARE = 0.2
# How far apart the centre lines are, in foot breadths, where the side of the front heel touches
# the side of the other big toe (measured on our outline of a foot), and from where the heel has
# room in front of the toe on a base that is no larger than that.
TOUCHING_SHARE = 0.775
IN_FRONT_SHARE = 0.54

LANDMARKS = (
    *("feet_apart", "feet_together", "feet_narrowest", "staggered", "semi_tandem", "tandem"),
    *("toe_touch", "single_leg"),
)
# On one leg there is no weight to shift from foot to foot.
OPENABLE_TASKS = frozenset(
    f"{landmark}/{task}"
    for landmark in LANDMARKS
    for task in Task
    if task is not Task.SHIFT or landmark not in ("toe_touch", "single_leg")
)
GATES = ("single_leg", "first_soft", "first_half_foam")


def whole_number(field_name: str, value: object, low: int, high: int, note: str = "") -> None:
    """Raise ImpossibleValue unless `value` is a whole number from `low` to `high`."""
    if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
        raise ImpossibleValue(field_name, value, f"a whole number from {low} to {high}{note}")


def truth(field_name: str, value: object) -> None:
    """Raise ImpossibleValue unless `value` is true or false."""
    if not isinstance(value, bool):
        raise ImpossibleValue(field_name, value, "true or false")


def side_or_none(field_name: str, value: object) -> None:
    """Raise ImpossibleValue unless `value` is a Side or None."""
    if value is not None and not isinstance(value, Side):
        raise ImpossibleValue(field_name, value, "'left', 'right' or nothing")


@dataclass(frozen=True, slots=True)
class Body:
    """A client's measures, whole mm, and what the ladder must spare.

    `hip_width_mm` is the distance between the hip joints, so from foot centre to foot centre when
    standing at ease: about 17 to 18 cm, not the outside of the hips. `narrowest_offset_mm` is the
    narrowest comfortable distance between the centre lines with the feet side by side, where that
    is more than feet touching. `no_full_weight` is the leg that must never carry the whole body.
    `estimated` says that the measures are a guess from height and sex, to be replaced.
    `ahead_mm` is how far a comfortable step puts the front heel beyond the other foot's toes.
    `feet_overlap` says that in semi-tandem the feet overlap lengthwise by the big toe; it is false
    only in plans made before they did, whose heel was level with the tip of the toes.
    """

    foot_length_mm: int
    foot_breadth_mm: int
    hip_width_mm: int
    narrowest_offset_mm: int | None = None
    big_toe_pain: bool = False
    no_full_weight: Side | None = None
    weaker: Side | None = None
    estimated: bool = False
    ahead_mm: int = 100
    feet_overlap: bool = True

    def __post_init__(self) -> None:
        whole_number("foot_length_mm", self.foot_length_mm, *FOOT_LENGTH_MM)
        whole_number("foot_breadth_mm", self.foot_breadth_mm, *FOOT_BREADTH_MM)
        if self.foot_breadth_mm * 2 > self.foot_length_mm:
            longest = self.foot_length_mm // 2
            raise ImpossibleValue(
                "foot_breadth_mm", self.foot_breadth_mm, f"at most half the foot length, {longest}"
            )
        low = max(HIP_WIDTH_MM[0], self.foot_breadth_mm)
        note = ": between the hip joints, not the outside of the hips"
        whole_number("hip_width_mm", self.hip_width_mm, low, HIP_WIDTH_MM[1], note)
        if self.narrowest_offset_mm is not None:
            whole_number(
                "narrowest_offset_mm",
                self.narrowest_offset_mm,
                self.foot_breadth_mm,
                self.hip_width_mm,
                ": between the foot breadth and the hip width",
            )
        whole_number("ahead_mm", self.ahead_mm, *AHEAD_MM)
        truth("big_toe_pain", self.big_toe_pain)
        truth("estimated", self.estimated)
        truth("feet_overlap", self.feet_overlap)
        side_or_none("no_full_weight", self.no_full_weight)
        side_or_none("weaker", self.weaker)

    @classmethod
    def estimate(
        cls,
        height_mm: int | None,
        sex: Sex,
        *,
        foot_length_mm: int | None = None,
        narrowest_offset_mm: int | None = None,
        big_toe_pain: bool = False,
        no_full_weight: Side | None = None,
        weaker: Side | None = None,
    ) -> "Body":
        """A body guessed from height or a foot (None if unknown) and sex, marked as estimated."""
        length, breadth = estimated_foot_mm(height_mm, sex, foot_length_mm)
        return cls(
            foot_length_mm=length,
            foot_breadth_mm=breadth,
            hip_width_mm=USUAL_HIP_WIDTH_MM,
            narrowest_offset_mm=narrowest_offset_mm,
            big_toe_pain=big_toe_pain,
            no_full_weight=no_full_weight,
            weaker=weaker,
            estimated=True,
        )

    @property
    def narrowest_mm(self) -> int:
        """The narrowest side-by-side offset: feet touching, unless anatomy stops before."""
        return self.narrowest_offset_mm or self.foot_breadth_mm

    @property
    def comfortable_step_mm(self) -> int:
        """Heel to heel, front to back, in a comfortable step."""
        return self.foot_length_mm + self.ahead_mm

    @property
    def semi_tandem_step_mm(self) -> int:
        """Heel to heel, front to back, with the front heel beside the other big toe."""
        toe_mm = round(BIG_TOE_SHARE * self.foot_length_mm) if self.feet_overlap else 0
        return self.foot_length_mm - toe_mm

    @property
    def touching_mm(self) -> int:
        """The offset at which the side of the front heel touches the side of the other big toe."""
        if not self.feet_overlap:
            return self.foot_breadth_mm
        return ceil(TOUCHING_SHARE * self.foot_breadth_mm)

    @property
    def in_front_mm(self) -> int:
        """The widest offset with the heel in front of the toes and no easier than beside them."""
        if not self.feet_overlap:
            return self.foot_breadth_mm - 1
        return floor(IN_FRONT_SHARE * self.foot_breadth_mm)

    @property
    def both_sides(self) -> tuple[Side, Side]:
        """Both sides in the order practised: the weaker first, while fresh; else left first."""
        first = self.weaker or Side.LEFT
        return first, first.other

    @property
    def standing_sides(self) -> tuple[Side, ...]:
        """The sides that may carry the whole body, in the order practised."""
        return tuple(side for side in self.both_sides if side is not self.no_full_weight)


@dataclass(frozen=True, slots=True)
class Equipment:
    """What the client has at home.

    `mat_layers` is the largest number of layers the mat folds to; a mat that folds to 4 also does
    2 and 1. `mat_layer_mm` is the thickness of one layer (7: common practice, no source), None in
    plans made before it was asked; `mat_length_mm` and `mat_width_mm` are of the mat laid out, None
    while they are not known. A half foam (half-round roller) may be whole, cut in two, or the
    client has both. `half_foam_width_mm` is across its flat side, `half_foam_length_mm` before
    cutting; 15 by 90 cm is usual (from memory). `tape`: a tape with marks lies on the floor.
    """

    mat_layers: int = 0
    half_foam_whole: bool = False
    half_foam_cut: bool = False
    firm_floor: bool = True
    steady_counter: bool = True
    half_foam_width_mm: int = 150
    half_foam_length_mm: int = 900
    mat_layer_mm: int | None = 7
    mat_length_mm: int | None = None
    mat_width_mm: int | None = None
    tape: bool = False

    def __post_init__(self) -> None:
        if isinstance(self.mat_layers, bool) or self.mat_layers not in MAT_LAYERS:
            raise ImpossibleValue("mat_layers", self.mat_layers, "0, 1, 2, 4 or 8")
        for name in ("half_foam_whole", "half_foam_cut", "firm_floor", "steady_counter", "tape"):
            truth(name, getattr(self, name))
        whole_number("half_foam_width_mm", self.half_foam_width_mm, *FOAM_WIDTH_MM)
        whole_number("half_foam_length_mm", self.half_foam_length_mm, *FOAM_LENGTH_MM)
        for name, bounds in (
            ("mat_layer_mm", MAT_LAYER_MM),
            ("mat_length_mm", MAT_SIDE_MM),
            ("mat_width_mm", MAT_SIDE_MM),
        ):
            if getattr(self, name) is not None:
                whole_number(name, getattr(self, name), *bounds, ", or nothing if not known")
        if (self.mat_length_mm is None) != (self.mat_width_mm is None):
            missing = "mat_width_mm" if self.mat_width_mm is None else "mat_length_mm"
            raise ImpossibleValue(missing, None, "given with the mat's other side, or neither")

    @property
    def half_foam_piece_mm(self) -> int:
        """The length of one piece of a half foam cut in two."""
        return self.half_foam_length_mm // 2

    @property
    def half_foam(self) -> bool:
        return self.half_foam_whole or self.half_foam_cut


@dataclass(frozen=True, slots=True)
class Limits:
    """What the trainer rules out: everything above a rung, soft surfaces, long holds.

    `closed_gates` are the gates that the ladder marks on its rungs; opening one for a client is
    done in the plan, which the decision reads. `opened_tasks` are what the trainer opened beside
    standing, as landmark/task on firm ground: `tandem/head`. `two_hands`: none leaves the counter.
    """

    ceiling_key: str | None = None
    closed_gates: frozenset[str] = field(default=frozenset(GATES))
    no_soft_surface: bool = False
    longest_hold_s: int = 30
    opened_tasks: frozenset[str] = frozenset()
    two_hands: bool = False

    def __post_init__(self) -> None:
        if self.ceiling_key is not None and not is_key(self.ceiling_key):
            raise ImpossibleValue("ceiling_key", self.ceiling_key, "a rung's key or nothing")
        unknown = sorted(str(gate) for gate in frozenset(self.closed_gates) - frozenset(GATES))
        if unknown:
            raise ImpossibleValue("closed_gates", unknown[0], f"among {', '.join(GATES)}")
        object.__setattr__(self, "closed_gates", frozenset(self.closed_gates))
        strange = sorted(str(one) for one in frozenset(self.opened_tasks) - OPENABLE_TASKS)
        if strange:
            raise ImpossibleValue(
                "opened_tasks", strange[0], "landmark/task, such as tandem/head (docs/ladder.md)"
            )
        object.__setattr__(self, "opened_tasks", frozenset(self.opened_tasks))
        for name in ("no_soft_surface", "two_hands"):
            truth(name, getattr(self, name))
        whole_number("longest_hold_s", self.longest_hold_s, *HOLD_S)


@dataclass(frozen=True, slots=True)
class Narrowing:
    """How fast the feet come together, mm a rung: on firm ground, and on later rounds.

    Without `later_narrow_mm`, later rounds take twice the step, at most 30 mm. `one_foot` moves
    one foot at a time, alternately, by half the step (5 mm at least).
    """

    narrow_mm: int = 10
    one_foot: bool = False
    later_narrow_mm: int | None = None

    def __post_init__(self) -> None:
        whole_number("narrow_mm", self.narrow_mm, *NARROW_MM)
        truth("one_foot", self.one_foot)
        if self.later_narrow_mm is not None:
            whole_number("later_narrow_mm", self.later_narrow_mm, *NARROW_MM)

    @property
    def later_mm(self) -> int:
        return self.later_narrow_mm or min(2 * self.narrow_mm, NARROW_MM[1])


@dataclass(frozen=True, slots=True)
class Profile:
    """All that a ladder and its texts need of a client, as trainers fill it in."""

    body: Body
    equipment: Equipment = Equipment()
    limits: Limits = Limits()
    narrowing: Narrowing = Narrowing()
    target_s: int = 20

    def __post_init__(self) -> None:
        most = self.limits.longest_hold_s
        note = " (limits.longest_hold_s)" if most < HOLD_S[1] else ""
        whole_number("target_s", self.target_s, HOLD_S[0], most, note)


def profile_from_json(given: Mapping[str, Any]) -> Profile:
    """A profile from parsed JSON; see docs/ladder.md for its fields.

    `body` holds the measures, or `height_mm` and `sex` to guess them from. Raises ImpossibleValue
    naming the field, its value and what is allowed, also for a field that does not exist.
    """
    _known("profile", given, _fields_of(Profile))
    if "body" not in given:
        raise ImpossibleValue("body", None, "given: the measures, or height_mm and sex")
    parts: dict[str, Any] = {"body": _body(_object("body", given["body"]))}
    for name, kind in (("equipment", Equipment), ("limits", Limits), ("narrowing", Narrowing)):
        if name in given:
            values = dict(_object(name, given[name]))
            _known(name, values, _fields_of(kind))
            for names in ("closed_gates", "opened_tasks"):
                if name == "limits" and names in values:
                    values[names] = _names(names, values[names])
            parts[name] = kind(**values)
    if "target_s" in given:
        parts["target_s"] = given["target_s"]
    return Profile(**parts)


def body_from_stored(stored: Mapping[str, Any]) -> Body:
    """The body of such a profile alone."""
    return _body({**_EARLIER_BODY, **stored})


def profile_from_stored(stored: Mapping[str, Any]) -> Profile:
    """A profile as profile_to_json once wrote it, for exactly the ladder it then had.

    What a plan was made without, because it was not asked yet, stays as if it were not asked.
    """
    body = {**_EARLIER_BODY, **stored["body"]}
    equipment = {**_EARLIER_EQUIPMENT, **stored.get("equipment", {})}
    return profile_from_json({**stored, "body": body, "equipment": equipment})


_EARLIER_BODY: Mapping[str, Any] = {"feet_overlap": False}
_EARLIER_EQUIPMENT: Mapping[str, Any] = {"mat_layer_mm": None}


def renewed(profile: Profile) -> Profile:
    """The profile with all that is asked today; its ladder may have other rungs (keep_place)."""
    home = profile.equipment
    layer_mm = Equipment().mat_layer_mm if home.mat_layer_mm is None else home.mat_layer_mm
    return replace(
        profile,
        body=replace(profile.body, feet_overlap=True),
        equipment=replace(home, mat_layer_mm=layer_mm),
    )


def profile_to_json(profile: Profile) -> dict[str, Any]:
    """The profile as plain JSON values; profile_from_json reads it back the same."""
    plain = asdict(profile)
    for names in ("closed_gates", "opened_tasks"):
        plain["limits"][names] = sorted(plain["limits"][names])
    for name in ("no_full_weight", "weaker"):
        side = plain["body"][name]
        plain["body"][name] = None if side is None else str(side)
    return plain


@cache
def _fields_of(kind: type) -> frozenset[str]:
    return frozenset(one.name for one in fields(kind))


def _body(given: Mapping[str, Any]) -> Body:
    values = dict(given)
    for name in ("no_full_weight", "weaker"):
        if values.get(name) is not None:
            values[name] = _side(name, values[name])
    if "height_mm" not in values and "sex" not in values:
        _known("body", values, _fields_of(Body))
        _given("body", values, ("foot_length_mm", "foot_breadth_mm", "hip_width_mm"))
        return Body(**values)
    kept = {"narrowest_offset_mm", "big_toe_pain", "no_full_weight", "weaker"}
    _known("body", values, {"height_mm", "sex"} | kept)
    _given("body", values, ("sex",))
    return Body.estimate(values.pop("height_mm", None), values.pop("sex"), **values)


def _known(where: str, given: Mapping[str, Any], allowed: Set[str]) -> None:
    unknown = sorted(str(name) for name in given if name not in allowed)
    if unknown:
        raise ImpossibleValue(f"a field of {where}", unknown[0], f"one of {sorted(allowed)}")


def _given(where: str, values: Mapping[str, Any], needed: tuple[str, ...]) -> None:
    for name in needed:
        if name not in values:
            raise ImpossibleValue(f"{where}.{name}", None, "given")


def _object(name: str, value: object) -> Mapping[str, Any]:
    if not isinstance(value, Mapping):
        raise ImpossibleValue(name, value, "an object of named fields")
    return value


def _names(name: str, value: object) -> frozenset[str]:
    if not isinstance(value, list | tuple | set | frozenset):
        raise ImpossibleValue(name, value, "a list of names")
    return frozenset(str(one) for one in value)


def _side(name: str, value: object) -> Side:
    if value not in tuple(Side):
        raise ImpossibleValue(name, value, "'left', 'right' or nothing")
    return Side(str(value))
