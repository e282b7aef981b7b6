"""One sentence for the trainer: the next step, and why it hasn't come yet."""

from collections.abc import Mapping, Sequence
from datetime import date, timedelta

from rungwise.ladder.estimate import next_chance
from rungwise.ladder.progression import DayReport, Move, PastDay, Plan, SideHold, decide
from rungwise.ladder.rungs import Ladder, Rung

_LATEST: Mapping[str, str] = {
    "one_bad_day": "the latest day was wobbly or short, so the steady days start afresh",
    "skipped": "the latest day was skipped, which counts neither way",
    "unfinished": "the latest report was unfinished, which counts neither way",
    "waiting_answer": "an answer of the client's is still awaited",
    "bad_days": "the client came back to this rung after wobbly or short days",
    "far_short": "the client came back to this rung after a hold far under the target",
    "away_back": "the client came back to this rung after days away",
    "lowest": "this is the lowest rung and it was wobbly or short again",
}
_MOST_DAYS = 30  # more than any plan's steady days


def explain_next(
    ladder: Ladder,
    plan: Plan,
    history: Sequence[PastDay],
    rung_key: str,
    next_name: str | None = None,
    *,
    awaited: bool = True,
) -> str:
    """The next step and why it hasn't come yet, by trying the rule on further steady days.

    `rung_key` is the rung the client is on; `next_name` how to call the next one, if a fuller
    name than its stance is at hand; `awaited` is false once the question that the latest day
    waited for is closed. Never raises.
    """
    if rung_key not in ladder:
        return "The client's rung is no longer on their ladder: choose a rung."
    days, would = _after_steady_days(ladder, plan, history, rung_key)
    above = ladder.above(rung_key)
    if would.rule == "resting":
        return "Resting: no next step until you choose the rung to resume on."
    if above is None:
        return "No next step: this is the top of the ladder as you limited it."
    further = ladder[would.to_key] if would.kind == "up" else above
    name = next_name if next_name and further is above else _name(further)
    sentence = f"Next: {name}, {_when(days, would, ladder, rung_key, plan)}"
    latest = history[-1].move if history else None
    over = latest is not None and latest.rule == "waiting_answer" and not awaited
    if latest is not None and latest.to_key == rung_key and latest.rule in _LATEST and not over:
        sentence += f"; {_LATEST[latest.rule]}"
    return sentence + "."


def _after_steady_days(
    ladder: Ladder, plan: Plan, history: Sequence[PastDay], rung_key: str
) -> tuple[int, Move]:
    """How many more steady days until something other than gathering them decides, and that."""
    past = list(history[-100:])
    if past and past[-1].move.to_key != rung_key:
        past = []
    day = past[-1].day if past else date(2000, 1, 1)
    days = 0
    while True:
        days += 1
        day += timedelta(days=1)
        holds = (SideHold(plan.target_s, "both"),)
        report = DayReport(day, rung_key, holds, "steady")
        move = decide(ladder, plan, past, report, next_chance(ladder, plan, past, report))
        if move.rule != "gathering" or days == _MOST_DAYS:
            return days, move
        past.append(PastDay(day, report, move))


def _when(days: int, would: Move, ladder: Ladder, rung_key: str, plan: Plan) -> str:
    first = plan.rule_version == 1
    landmark = first and ladder[rung_key].landmark
    leaving = " (more are asked for before leaving a landmark)" if landmark else ""
    running = " running" if first else ""
    steady = "one more steady day" if days == 1 else f"{days} more steady days{running}"
    if would.rule == "gate":
        gate = str(would.facts["gate"]).replace("_", " ")
        ready = "the client is ready" if days == 1 else f"after {steady}"
        return f"{ready}, but the gate '{gate}' is closed and only you open it"
    if would.rule == "stuck":
        return (
            "but moves up wait after repeated backs from one rung until you choose a rung again "
            "or some time has passed"
        )
    if would.rule == "second_opinion":
        found = would.facts["chance"]
        mean = found[0] if isinstance(found, list) else found
        return (
            f"once it looks likely enough to be held: the chance is about {mean:.0%} and "
            f"{would.facts['least_chance']:.0%} is asked for"
        )
    return f"after {steady}{leaving if days > 1 else ''}"


def _name(rung: Rung) -> str:
    """The rung in a few words; the page shows its full description beside them."""
    if rung.landmark:
        return rung.landmark.replace("_", " ")
    hands = rung.support.replace("_", " ")
    return f"a step of {rung.stance.replace('_', ' ')} with {hands}"
