"""Keeping a client's place when the ladder is rebuilt: the same rung, or the nearest easier one."""

from dataclasses import dataclass

from rungwise.ladder.body import Body
from rungwise.ladder.demand import STANCE_ORDER, SUPPORT_RELIEF, Asked, demand
from rungwise.ladder.keys import ORIENTATIONS, KeyParts, parse_key
from rungwise.ladder.rungs import Ladder, Rung
from rungwise.ladder.stance import FreeFoot, Stance, Surface, Task, Under

_SURFACES = tuple(Surface)
_FREE = tuple(FreeFoot)
_TASKS = tuple(Task)
_PASSES = {Under.FRONT: 1, Under.BACK: 2, Under.BOTH: 3}

Order = tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Kept:
    """Where a client stands on the new ladder; `because` says why it moved, None if it didn't."""

    key: str
    because: str | None = None


def keep_place(old: Ladder | None, key: str, new: Ladder) -> Kept:
    """The same rung of `new`, or the nearest easier one, with a reason.

    Never a harder one: neither later on the path, nor of higher demand, nor with less support in
    the same stance. Only where the new ladder
    has nothing so easy (its lowest rung was measured anew) is it the lowest rung, and the reason
    says so. `old` may be None when only the key is known; it serves for rungs without a body.
    ImpossibleValue if `key` is no rung's key.
    """
    if key in new:
        return Kept(key)
    body = _body_of(new, old)
    found, easy_enough = _search(key, new, body)
    if not easy_enough:
        return Kept(
            found.key,
            "Nothing on the new ladder is as easy as the old rung, so this is its lowest one: "
            "look at the client doing it.",
        )
    return Kept(found.key, f"{_what_went(key, new, body)}; this is the nearest easier rung.")


def nearest_not_harder(key: str, ladder: Ladder) -> Rung:
    """The rung itself, or the latest that is neither later nor of higher demand, or the lowest."""
    return ladder[key] if key in ladder else _search(key, ladder, _body_of(ladder, None))[0]


def order_of(key: str, body: Body) -> Order:
    """Where `key` lies on the whole path, whatever a client owns; compare as tuples."""
    parts = parse_key(key)
    offset_mm, step_mm = feet_mm(parts, body)
    return (
        _SURFACES.index(parts.surface),
        parts.layers,
        ORIENTATIONS.index(parts.orientation) if parts.orientation else 0,
        0 if parts.stance is Stance.PARALLEL else _PASSES[parts.under or Under.BOTH],
        STANCE_ORDER[parts.stance],
        -offset_mm,
        -step_mm,
        0 if parts.on_foam else 1,
        _FREE.index(parts.free_foot) if parts.free_foot else 0,
        -int(SUPPORT_RELIEF[parts.support]),
        _TASKS.index(parts.task) + 1 if parts.task else 0,
    )


def demand_of(key: str, body: Body) -> float:
    """The demand of the rung that `key` names, for `body`."""
    parts = parse_key(key)
    offset_mm, step_mm = feet_mm(parts, body)
    return demand(
        body,
        Asked(
            parts.stance,
            offset_mm,
            step_mm,
            parts.surface,
            parts.layers,
            parts.orientation,
            parts.under,
            parts.support,
            parts.free_foot,
            parts.on_foam,
            parts.task,
        ),
    )


def _body_of(ladder: Ladder, old: Ladder | None) -> Body:
    body = ladder.body or (old.body if old else None)
    if body is None:
        raise ValueError("keep_place needs a ladder made by build_ladder")
    return body


def _search(key: str, ladder: Ladder, body: Body) -> tuple[Rung, bool]:
    """The nearest rung not harder than `key` and True, or the lowest and False."""
    place, most = order_of(key, body), demand_of(key, body)
    parts = parse_key(key)
    for rung in reversed(ladder.rungs):
        # In the same stance, hands that were on the counter must not come off it.
        same = rung.stance is parts.stance and rung.surface is parts.surface
        less = same and SUPPORT_RELIEF[rung.support] < SUPPORT_RELIEF[parts.support]
        if rung.demand <= most and order_of(rung.key, body) <= place and not less:
            return rung, True
    return ladder.rungs[0], False


def feet_mm(parts: KeyParts, body: Body) -> tuple[int, int]:
    """offset_mm and step_mm, with what the key leaves to the body filled in."""
    length_mm = body.foot_length_mm
    match parts.stance:
        case Stance.PARALLEL:
            return parts.offset_mm or 0, 0
        case Stance.STAGGERED:
            return parts.offset_mm or 0, length_mm + (parts.ahead_mm or 0)
        case Stance.SEMI_TANDEM:
            offset_mm = parts.offset_mm or 0
            beside = offset_mm >= body.touching_mm
            return offset_mm, body.semi_tandem_step_mm if beside else length_mm
        case Stance.TANDEM:
            return 0, length_mm
        case Stance.TOE_TOUCH:
            return body.foot_breadth_mm, length_mm // 2
        case Stance.SINGLE_LEG:
            return 0, 0


def _what_went(key: str, new: Ladder, body: Body) -> str:
    parts = parse_key(key)
    same_round = [
        rung
        for rung in new.rungs
        if (rung.surface, rung.layers, rung.orientation)
        == (parts.surface, parts.layers, parts.orientation)
    ]
    if not same_round:
        return "The old rung's surface is not on the new ladder"
    if order_of(key, body) > order_of(new.rungs[-1].key, body):
        return "The old rung lies above the top of the new ladder"
    if all(rung.stance is not parts.stance for rung in same_round):
        return "The old rung's stance is not on the new ladder"
    return "The old rung's measures are not on the new ladder"
