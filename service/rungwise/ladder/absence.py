"""Rest, absence and return: what the days away call for, and what only the trainer may end."""

from collections.abc import Sequence
from datetime import date, timedelta
from math import ceil

from rungwise.ladder.caution import PRESETS, Caution, stricter
from rungwise.ladder.moves import Move, PastDay, Plan
from rungwise.ladder.rungs import Ladder

RETURN_DAYS = 7  # a gentler plan for a week after a rest
LEAST_MISSED = 2  # planned sessions running; one missed session is no absence
STILL_LIKELY = 0.7  # chance of a steady hold at which a rung is kept after days away


def is_resting(history: Sequence[PastDay]) -> bool:
    """Whether a rest still holds: only an override by the trainer ends it."""
    for past in reversed(history):
        move = past.move
        if move.kind == "stay" and past.report is None:
            continue  # a day noted as missed says nothing about resting
        return move.kind == "rest" or move.rule == "resting"
    return False


def caution_for(plan: Plan, history: Sequence[PastDay], day: date) -> Caution:
    """The caution that holds on `day`: the plan's, made gentler for a week after a rest.

    The week starts at the first override after the rest; each setting is then the stricter of
    the plan's and the gentle preset's.
    """
    for place in range(len(history) - 1, -1, -1):
        past = history[place]
        if (day - past.day).days >= RETURN_DAYS:
            break
        if past.move.kind != "override":
            continue
        if is_resting(history[:place]) or past.move.facts.get("after_rest") is True:
            return stricter(plan.caution, PRESETS["gentle"], f"{plan.caution.name}, returning")
    return plan.caution


def override_move(
    plan: Plan, history: Sequence[PastDay], from_key: str, to_key: str, reason: str
) -> Move:
    """The trainer's own placement as a move, ready to be stored as a PastDay without report.

    The same `to_key` as `from_key` says "I have looked, carry on here": it ends a rest, a stuck
    hold and the running count alike.
    """
    after_rest = plan.resting or is_resting(history)
    facts: dict[str, object] = {"rung": from_key, "after_rest": after_rest}
    return Move("override", from_key, to_key, "trainer", reason, (), facts, plan.rule_version)


def decide_absence(
    ladder: Ladder, plan: Plan, history: Sequence[PastDay], rung_key: str, since: date, today: date
) -> Move | None:
    """The move that days away call for, before the next text; None if none, or already made.

    `since` is the date the client was last placed or practised, whichever is later; a back for
    absence doesn't count as a placement (if it is given as one, the absence still counts from
    its true start). Under rule version 2 missed sessions count and not days, until a rest is due.
    """
    if plan.resting or is_resting(history):
        return None
    caution = plan.caution
    went_back = False
    for past in reversed(history):
        if past.day < since:
            break
        if past.move.rule == "away_back":
            went_back = True
            start = past.move.facts.get("since")
            since = min(since, date.fromisoformat(start)) if isinstance(start, str) else since
            break
        if past.move.kind == "override":
            break
    away = (today - since).days
    facts: dict[str, object] = {
        "day": today.isoformat(),
        "since": since.isoformat(),
        "days_away": away,
        "caution": caution.name,
    }
    if away >= caution.away_rest_days:
        because = f"Away {away} days: resting until you have spoken with the client."
        version = plan.rule_version
        return Move("rest", rung_key, rung_key, "away_rest", because, ("away",), facts, version)
    few = away < caution.away_back_days and plan.rule_version == 1
    if few or went_back or rung_key not in ladder:
        return None
    if plan.rule_version == 2:
        return _by_missed_sessions(ladder, plan, history, rung_key, since, today, facts)
    to_key = ladder.landmark_below(rung_key).key
    if to_key == rung_key:
        return None
    because = f"Away {away} days: back one landmark."
    return Move("back", rung_key, to_key, "away_back", because, (), facts)


def surely_here(plan: Plan, history: Sequence[PastDay], since: date, today: date) -> bool:
    """Whether the days away are too few for any move: `decide_absence` then gives None.

    Quicker to ask, and without a ladder. An earlier move back for absence may make the days count
    from before.
    """
    for past in reversed(history):
        if past.day < since:
            break
        if past.move.rule == "away_back":
            return False
    caution, away = plan.caution, (today - since).days
    if plan.rule_version == 2:
        missed = missed_sessions(plan.weekdays, since, today)
        few = missed < sessions_away(plan.weekdays, caution.away_back_days)
        return few and away < caution.away_rest_days
    return away < min(caution.away_back_days, caution.away_rest_days)


def missed_sessions(weekdays: frozenset[int], since: date, today: date) -> int:
    """The planned sessions strictly between two dates; periods away count like any others."""
    days = ((today - since).days - 1) if today > since else 0
    dates = (since + timedelta(days=number) for number in range(1, days + 1))
    return sum(day.weekday() in weekdays for day in dates)


def sessions_away(weekdays: frozenset[int], away_back_days: int) -> int:
    """How many missed sessions running are an absence: what the plan has in that many days."""
    return max(LEAST_MISSED, ceil(len(weekdays) * away_back_days / 7))


def _by_missed_sessions(
    ladder: Ladder,
    plan: Plan,
    history: Sequence[PastDay],
    rung_key: str,
    since: date,
    today: date,
    facts: dict[str, object],
) -> Move | None:
    """Back as far as the second opinion says, at most one landmark; None if the rung is kept."""
    missed = missed_sessions(plan.weekdays, since, today)
    if missed < sessions_away(plan.weekdays, plan.caution.away_back_days):
        return None
    # Loaded here: it takes numpy, which a reader of ladders need not wait for.
    from rungwise.ladder.belief import belief_from, told_days  # noqa: PLC0415

    here = ladder.index(rung_key)
    told = told_days(ladder, plan, history)
    median = belief_from(ladder, plan, told, here, today).chances(0.5)
    lowest = ladder.index(ladder.landmark_below(rung_key).key)
    to = here
    while to > lowest and median.on(ladder.rungs[to]) < STILL_LIKELY:
        to -= 1
    if to == here:
        return None
    back = "one rung" if here - to == 1 else f"{here - to} rungs"
    because = f"{missed} planned sessions missed: back {back}, for some of it may be lost."
    facts["missed_sessions"] = missed
    to_key = ladder.rungs[to].key
    return Move("back", rung_key, to_key, "away_back", because, (), facts, 2)
