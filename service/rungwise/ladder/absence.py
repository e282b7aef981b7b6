"""Rest, absence and return: what the days away call for, and what only the trainer may end."""

from collections.abc import Sequence
from datetime import date

from rungwise.ladder.caution import PRESETS, Caution, stricter
from rungwise.ladder.moves import Move, PastDay, Plan
from rungwise.ladder.rungs import Ladder

RETURN_DAYS = 7  # a gentler plan for a week after a rest


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
    return Move("override", from_key, to_key, "trainer", reason, (), facts)


def decide_absence(
    ladder: Ladder, plan: Plan, history: Sequence[PastDay], rung_key: str, since: date, today: date
) -> Move | None:
    """The move that days away call for, before the next text; None if none, or already made.

    `since` is the date the client was last placed or practised, whichever is later; a back for
    absence doesn't count as a placement (if it is given as one, the absence still counts from
    its true start).
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
        return Move("rest", rung_key, rung_key, "away_rest", because, ("away",), facts)
    if went_back or away < caution.away_back_days or rung_key not in ladder:
        return None
    to_key = ladder.landmark_below(rung_key).key
    if to_key == rung_key:
        return None
    because = f"Away {away} days: back one landmark."
    return Move("back", rung_key, to_key, "away_back", because, (), facts)
