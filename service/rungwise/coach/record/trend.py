"""A client's way along the ladder as a small line, from rung keys alone. Pure.

Building every client's ladder for a list would take long; a key says its ground, stance and
distances, which is enough to say how far along it is.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from rungwise.errors import ImpossibleValue
from rungwise.ladder.body import Body, body_from_stored
from rungwise.ladder.keys import KeyParts, parse_key, round_name
from rungwise.ladder.places import feet_mm
from rungwise.ladder.rungs import Rung
from rungwise.ladder.stance import Stance, Support, Surface, Under

_STANCES = tuple(Stance)
_SUPPORTS = tuple(Support)
_WIDEST_MM = 280
_FARTHEST_MM = 200


@dataclass(frozen=True, slots=True)
class Trend:
    """`points` are (share of the days gone, height) in 0 to 1; counts of moves in those days."""

    points: tuple[tuple[float, float], ...]
    ups: int
    backs: int
    placed: int


def rung_of_key(key: str, body: Mapping[str, Any]) -> Rung | None:
    """A rung with what its short name needs, from its key and the client's measures; else None."""
    try:
        parts = parse_key(key)
    except ImpossibleValue:
        return None
    measures = body_from_stored(body)
    offset_mm, step_mm = feet_mm(parts, measures)
    beside = parts.stance in (Stance.PARALLEL, Stance.STAGGERED, Stance.SEMI_TANDEM)
    in_front = parts.stance in (Stance.STAGGERED, Stance.SEMI_TANDEM, Stance.TANDEM)
    return Rung(
        key=key,
        stance=parts.stance,
        offset_mm=offset_mm,
        step_mm=step_mm,
        surface=parts.surface,
        support=parts.support,
        round=round_name(parts.surface, parts.layers, parts.orientation, parts.under),
        layers=parts.layers,
        orientation=parts.orientation,
        under=parts.under,
        free_foot=parts.free_foot,
        landmark=_landmark(parts, measures),
        gap_mm=offset_mm - measures.foot_breadth_mm if beside else None,
        ahead_mm=step_mm - measures.foot_length_mm if in_front else None,
        on_foam=parts.on_foam,
    )


def _landmark(parts: KeyParts, body: Body) -> str | None:
    """The landmarks whose short names differ from those of the steps beside them."""
    if parts.stance is Stance.PARALLEL and parts.offset_mm == body.narrowest_offset_mm:
        return "feet_narrowest"
    if parts.stance is Stance.SEMI_TANDEM and parts.support is Support.HOVER:
        both = parts.under in (None, Under.BOTH)
        touching_mm = body.touching_mm if both else body.foot_breadth_mm
        return "semi_tandem" if parts.offset_mm == touching_mm else None
    in_line = parts.stance is Stance.STAGGERED and parts.offset_mm == body.foot_breadth_mm
    return "staggered" if in_line and parts.ahead_mm == body.ahead_mm else None


def height(key: str) -> float:
    """How far along a rung is, for comparing rungs of one client; 0 for a key that says nothing."""
    try:
        parts = parse_key(key)
    except ImpossibleValue:
        return 0.0
    ground = {Surface.FIRM: 0, Surface.MAT: 1, Surface.HALF_FOAM: 5}[parts.surface]
    ground += {0: 0, 1: 0, 2: 1, 4: 2, 8: 3}[parts.layers]
    within = 1 - (parts.offset_mm or 0) / _WIDEST_MM
    if parts.ahead_mm is not None:
        within = (within + 1 - parts.ahead_mm / _FARTHEST_MM) / 2
    support = _SUPPORTS.index(parts.support) / 20
    return ground * len(_STANCES) + _STANCES.index(parts.stance) + 0.8 * within + support


def trend(
    moves: Sequence[tuple[date, str, str]], here: str | None, today: date, days: int
) -> Trend:
    """The line of the last `days` days from moves (day, kind, to_key), oldest first."""
    begin = today - timedelta(days=days)
    heights = [(max((day - begin).days, 0) / days, height(key)) for day, _, key in moves]
    if here is not None:
        heights.append((1.0, height(here)))
    kinds = [kind for _, kind, _ in moves]
    low = min((at for _, at in heights), default=0.0)
    high = max((at for _, at in heights), default=0.0)
    spread = high - low
    points: list[tuple[float, float]] = []
    for gone, at in heights:
        level = (at - low) / spread if spread else 0.5
        if points:
            points.append((gone, points[-1][1]))
        points.append((gone, level))
    return Trend(tuple(points), kinds.count("up"), kinds.count("back"), kinds.count("override"))
