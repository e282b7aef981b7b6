"""The rule's long run, calculated exactly: where it settles and what that costs.

For an ability that stands still the rule is a Markov chain over rungs and what happened during the
present stay on one (the run of steady days, and the wobbly ones among the last days), as the
k-in-a-row up-and-down designs of dose finding are (Oron et al. 2022, Anesthesiology 137:137-150).
Each stay is solved by itself for its length and its end, then the chain of stays for its long-run
distribution. Left out: safety signs, absences, the second opinion and the hold after repeated
backs, all of which only make the rule slower or more careful.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from rungwise.ladder.caution import Caution
from rungwise.ladder.progression import Plan, closed_gate
from rungwise.ladder.rungs import Ladder

Floats = NDArray[np.float64]
_State = tuple[int, tuple[bool, ...]]  # steady days running; the last judged days, True = bad

MONTH_DAYS = 30
# A hold that could never fail would make a stay at the top endless.
SUREST = (1e-4, 1 - 1e-4)


def levitt_level(steady_days: int) -> float:
    """Success rate at which 'harder after n successes, easier after one failure' settles.

    p^n = 1/2 (Levitt 1971, J Acoust Soc Am 49:467-477).
    """
    return float(0.5 ** (1 / steady_days))


def weighted_level(harder: float, easier: float, steady_days: int = 1) -> float:
    """The same with unequal steps: p^n = easier / (easier + harder).

    For n = 1: Kaernbach 1991, Percept Psychophys 49:227-229.
    """
    return float((easier / (easier + harder)) ** (1 / steady_days))


@dataclass(frozen=True, slots=True)
class Stays:
    """For every rung: the mean days of a stay, and how it ends (up, back, far back; sum 1)."""

    days: Floats
    up: Floats
    back: Floats
    far_back: Floats


@dataclass(frozen=True)
class Chain:
    """The rule on one ladder for one client whose ability stands still.

    `success` is the chance of a steady hold on each rung; `far_short` the share of the failures
    that are far under the target. `moves[i, j]` is the chance that a stay on rung i is followed
    by one on rung j.
    """

    ladder: Ladder
    success: Floats
    stays: Stays
    moves: Floats

    @cached_property
    def visits(self) -> Floats:
        """Long-run share of stays on each rung."""
        size = len(self.success)
        balance = self.moves.T - np.eye(size)
        balance[-1] = 1.0
        target = np.zeros(size)
        target[-1] = 1.0
        shares = np.linalg.solve(balance, target)
        return np.clip(shares, 0.0, None)

    @cached_property
    def shares(self) -> Floats:
        """Long-run share of practised days on each rung."""
        days = self.visits * self.stays.days
        return np.asarray(days / days.sum(), dtype=np.float64)

    @property
    def level(self) -> float:
        """Long-run share of steady days."""
        return float(self.shares @ self.success)

    @property
    def mean_place(self) -> float:
        """Long-run mean rung, 0 the lowest."""
        return float(self.shares @ np.arange(len(self.shares)))

    @property
    def wobbly_days_month(self) -> float:
        """Wobbly or short days in 30 days practised."""
        return MONTH_DAYS * (1 - self.level)

    def per_month(self, ends: Floats) -> float:
        """How many of 30 practised days end a stay as `ends` (one of `stays`' shares) says."""
        days = float(self.visits @ self.stays.days)
        return MONTH_DAYS * float(self.visits @ ends) / days

    @property
    def risky_share(self) -> float:
        """Share of the moves up that lead where a steady hold is less likely than not."""
        ups = (self.visits * self.stays.up)[:-1]
        total = float(ups.sum())
        return float(ups[self.success[1:] < 0.5].sum()) / total if total > 0 else 0.0

    def days_to(self, start_key: str, goal_key: str) -> float:
        """Mean practised days from the first day on one rung until the first on a harder one.

        0 when the goal is not harder. Infinite past a closed gate.
        """
        start, goal = self.ladder.index(start_key), self.ladder.index(goal_key)
        if goal <= start:
            return 0.0
        if np.any(self.stays.up[start:goal] <= 0):
            return float("inf")
        leave = np.eye(goal) - self.moves[:goal, :goal]
        return float(np.linalg.solve(leave, self.stays.days[:goal])[start])


def chain(
    ladder: Ladder, plan: Plan, success: Sequence[float] | Floats, far_short: float = 0.0
) -> Chain:
    """The rule of `plan` on `ladder` for a client who holds rung i steady with `success[i]`."""
    p = np.clip(np.asarray(success, dtype=np.float64), *SUREST)
    stays = _stays(ladder, plan, p, far_short)
    return Chain(ladder, p, stays, _moves(ladder, plan.caution, stays))


def _stays(ladder: Ladder, plan: Plan, p: Floats, far_short: float) -> Stays:
    found = np.zeros((4, len(ladder)))
    top = len(ladder) - 1
    kinds: dict[tuple[int, bool], list[int]] = {}
    for place, rung in enumerate(ladder.rungs):
        caution = plan.caution
        needed = caution.steady_days_landmark if rung.landmark else caution.steady_days_step
        goes_up = place < top and closed_gate(ladder, plan, ladder.rungs[place + 1]) is None
        kinds.setdefault((needed, goes_up), []).append(place)
    for (needed, goes_up), places in kinds.items():
        found[:, places] = _solve_stays(needed, goes_up, plan.caution, p[places], far_short)
    return Stays(*found)


def _solve_stays(
    needed: int, goes_up: bool, caution: Caution, p: Floats, far_short: float
) -> Floats:
    """Days, up, back and far back of a stay for each success chance in `p`: shape (4, len(p))."""
    steady, states = _after_steady(needed, goes_up, caution)
    wobbly = _after_wobbly(states, caution)
    index = {state: place for place, state in enumerate(states)}
    stay = np.zeros((len(p), len(states), len(states)))
    ends = np.zeros((len(p), len(states), 4))
    ends[:, :, 0] = 1.0  # each visit to a state is one day
    ends[:, :, 3] = ((1 - p) * far_short)[:, None]
    for state, place in index.items():
        if (after := steady[state]) is None:
            ends[:, place, 1] += p
        else:
            stay[:, place, index[after]] += p
        if (after := wobbly[state]) is None:
            ends[:, place, 2] += (1 - p) * (1 - far_short)
        else:
            stay[:, place, index[after]] += (1 - p) * (1 - far_short)
    solved = np.linalg.solve(np.eye(len(states)) - stay, ends)
    return np.asarray(solved[:, 0, :].T, dtype=np.float64)


def _after_steady(
    needed: int, goes_up: bool, caution: Caution
) -> tuple[dict[_State, _State | None], list[_State]]:
    """Every state a stay can be in, first one first, and where a steady day leads (None: up)."""
    first: _State = (0, ())
    steady: dict[_State, _State | None] = {}
    waiting, states = [first], [first]
    while waiting:
        state = waiting.pop()
        run, recent = state
        after: _State | None = (min(run + 1, needed), _recent(recent, False, caution))
        if run + 1 >= needed and goes_up:
            after = None
        steady[state] = after
        for following in (after, _wobbly(state, caution)):
            if following is not None and following not in states:
                states.append(following)
                waiting.append(following)
    return steady, states


def _after_wobbly(states: Sequence[_State], caution: Caution) -> dict[_State, _State | None]:
    return {state: _wobbly(state, caution) for state in states}


def _wobbly(state: _State, caution: Caution) -> _State | None:
    """Where a wobbly or short day leads; None: back."""
    recent = state[1]
    if sum(recent) + 1 >= caution.back_days:
        return None
    return (0, _recent(recent, True, caution))


def _recent(recent: tuple[bool, ...], bad: bool, caution: Caution) -> tuple[bool, ...]:
    kept = caution.back_window_days - 1
    newest = (*recent, bad)[-kept:] if kept else ()
    # Steady days before the first bad one can't lead to a back: leave them out, fewer states.
    while newest and not newest[0]:
        newest = newest[1:]
    return newest


def _moves(ladder: Ladder, caution: Caution, stays: Stays) -> Floats:
    size = len(ladder)
    moves = np.zeros((size, size))
    for place, rung in enumerate(ladder.rungs):
        if place + 1 < size:
            moves[place, place + 1] += stays.up[place]
        back = max(place - caution.back_steps, 0)
        landmark = ladder.index(ladder.landmark_below(rung.key).key)
        moves[place, back] += stays.back[place]
        moves[place, min(back, landmark)] += stays.far_back[place]
    return moves
