"""Keeping up what is held: at the top of a ladder the day's rung goes round. Pure.

A rung of the round is never later on the path, of higher demand or with less support than the one
the client stands on, so the round leads nobody to anything harder.
"""

from datetime import date

from rungwise.ladder.demand import SUPPORT_RELIEF
from rungwise.ladder.rungs import Ladder, Rung

MOST_KEPT_UP = 4  # our choice, no source


def kept_up(ladder: Ladder) -> tuple[Rung, ...]:
    """The ladder's top rung, and the latest landmarks below it that are no harder.

    Each stance comes once on each surface.
    """
    top = ladder.rungs[-1]
    found = {(top.surface, top.stance): top}
    for rung in reversed(ladder.rungs):
        harder = rung.demand > top.demand
        less_support = SUPPORT_RELIEF[rung.support] < SUPPORT_RELIEF[top.support]
        if rung.landmark is not None and not harder and not less_support:
            found.setdefault((rung.surface, rung.stance), rung)
    return tuple(found.values())[:MOST_KEPT_UP]


def rung_of_day(ladder: Ladder, key: str, day: date) -> Rung:
    """What a client on the rung of `key` keeps up on this date; below the top, the rung itself."""
    if key != ladder.rungs[-1].key:
        return ladder[key]
    kept = kept_up(ladder)
    return kept[day.toordinal() % len(kept)]
