"""Rule version 2's bounds: how far one move up may go, whatever the second opinion says."""

from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass, replace

from rungwise.ladder.belief import footing
from rungwise.ladder.demand import SUPPORT_RELIEF
from rungwise.ladder.moves import PastDay, Plan
from rungwise.ladder.rungs import Ladder

FIRST_REACH = 16  # rungs harder than the present one, in one move
MOST_REACH = FIRST_REACH


@dataclass(frozen=True, slots=True)
class Climb:
    """What the next decision must know of the climb; stored in a move's facts.

    `reach` is how many harder rungs one move may take, `ups` how many moves up came running,
    `wobbled` whether a real wobble came yet, `held_back` the practised days for which the second
    opinion alone has held the client.
    """

    reach: int = FIRST_REACH
    ups: int = 0
    wobbled: bool = False
    held_back: int = 0

    def after_up(self, new_round: bool) -> "Climb":
        if new_round:
            return Climb()
        ups = self.ups + 1
        # As in PEST, the third step running the same way may be larger again.
        larger = ups >= 3 or not self.wobbled
        reach = min(self.reach * 2, MOST_REACH) if larger else self.reach
        return Climb(reach, ups, self.wobbled)

    def after_bad(self, real: bool) -> "Climb":
        if not real:
            return replace(self, held_back=0)
        reversal = self.ups > 0 or not self.wobbled
        return Climb(max(self.reach // 2, 1) if reversal else self.reach, 0, True)


def climb_in(history: Sequence[PastDay]) -> Climb:
    """The climb as the newest move left it; afresh after a placement or an absence."""
    for past in reversed(history):
        move = past.move
        stored = move.facts.get("climb")
        if isinstance(stored, Mapping):
            return Climb(**stored)
        if move.kind in ("override", "rest") or move.rule == "away_back" or move.version != 2:
            return Climb()
    return Climb()


@dataclass(frozen=True, slots=True)
class Bounds:
    """What bounds a client's next move up besides the ladder: all by the rungs' places.

    `practised` are the rungs practised so far, `stuck` those that repeated backs closed, `regained`
    the hardest that was held before if the client now stands below it: no move passes that at once,
    and up to it neither the reach nor a stance's first rung counts.
    """

    practised: Set[int]
    stuck: Set[int]
    regained: int | None = None

    def allowed(self, ladder: Ladder, plan: Plan, here: int, reach: int) -> list[int]:
        """The places above that no bound forbids, in order; empty if not even the next is free."""
        rungs, harder = ladder.rungs, 0
        found: list[int] = []
        stances = {(rungs[place].round, rungs[place].stance) for place in self.practised}
        for place in range(here + 1, len(rungs)):
            rung = rungs[place]
            if place in self.stuck or (rung.gate is not None and rung.gate not in plan.open_gates):
                break
            harder += footing(rung) > footing(rungs[here])
            again = self.regained is not None and place <= self.regained
            if found and not again and (self.regained is not None or harder > reach):
                break
            stance, before = (rung.round, rung.stance), rungs[place - 1]
            first = stance in stances or stance != (before.round, before.stance)
            if place == here + 1 or (not _both_harder(ladder, here, place) and (again or first)):
                found.append(place)
            if rung.landmark is not None:
                break
        return found


def _both_harder(ladder: Ladder, here: int, there: int) -> bool:
    """Less support and a harder way to stand at once."""
    now, then = ladder.rungs[here], ladder.rungs[there]
    less = SUPPORT_RELIEF[then.support] < SUPPORT_RELIEF[now.support]
    return less and footing(then) > footing(now)
