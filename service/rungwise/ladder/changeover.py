"""Changing a client over to another version of the rule: where they would stand, and what next."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from rungwise.ladder.day import DayReport, SideHold
from rungwise.ladder.estimate import next_chance
from rungwise.ladder.moves import Move, PastDay, Plan
from rungwise.ladder.progression import decide
from rungwise.ladder.rungs import Ladder


@dataclass(frozen=True, slots=True)
class Changeover:
    """What a change of the rule's version would mean on one day.

    The change by itself moves nobody: `rung_key` is where the client stands now. `chance` is the
    median chance of a steady hold there by version 2's second opinion; `after_steady` and
    `after_wobbly` are the moves that the new version would make after such a day.
    """

    rung_key: str
    chance: float
    after_steady: Move
    after_wobbly: Move


def changeover(
    ladder: Ladder,
    plan: Plan,
    history: Sequence[PastDay],
    rung_key: str,
    day: date,
    version: int = 2,
) -> Changeover:
    """Where the client would stand on `day` under `version`. KeyError for a rung not on the ladder.

    A history that ended in a rest says so in both moves.
    """
    # Loaded here: it takes numpy, which a page of a client on the newest rule need not wait for.
    from rungwise.ladder.belief import belief_from, told_days  # noqa: PLC0415

    place = ladder.index(rung_key)
    new = replace(plan, rule_version=version)
    known = belief_from(ladder, new, told_days(ladder, new, history), place, day)
    chance = known.chances(0.5).on(ladder.rungs[place])
    steady = DayReport(day, rung_key, (SideHold(plan.target_s, "both"),), "steady")
    wobbly = replace(steady, steadiness="wobbly")
    moves = [
        decide(ladder, new, history, report, next_chance(ladder, new, history, report))
        for report in (steady, wobbly)
    ]
    return Changeover(rung_key, chance, *moves)
