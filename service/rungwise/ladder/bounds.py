"""What holds under every version of the rule: rest on a sure sign, no move on a doubt, gates."""

from collections.abc import Mapping, Sequence

from rungwise.ladder.absence import is_resting
from rungwise.ladder.day import DayReport, judge_day
from rungwise.ladder.moves import Move, PastDay, Plan
from rungwise.ladder.rotation import kept_up
from rungwise.ladder.rungs import Ladder, Rung


def safety_first(
    plan: Plan,
    history: Sequence[PastDay],
    report: DayReport,
    here: str,
    facts: Mapping[str, object],
) -> Move | None:
    """Rest on a sure sign, whatever else was said; no move on a doubtful one or while resting."""
    sure, doubtful = signs(report)
    if sure:
        told = join([_SIGN_WORDS[kind] for kind in sure])
        because = f"The client told of {told}: resting until you clear them."
        told_of = {**facts, "signs": list(sure), "doubtful": list(doubtful)}
        alerts = tuple(dict.fromkeys(sure + doubtful))
        return Move("rest", here, here, "safety_sign", because, alerts, told_of)
    doubt = {**facts, "doubtful": list(doubtful)} if doubtful else dict(facts)
    if plan.resting or is_resting(history):
        because = "Resting: no move until you choose the rung to resume on."
        return Move("stay", here, here, "resting", because, doubtful, doubt)
    if not doubtful:
        return None
    words = join([_DOUBT_WORDS[kind] for kind in doubtful])
    because = f"The report may mean {words}: no move until the client has answered."
    return Move("stay", here, here, "waiting_answer", because, doubtful, doubt)


_SIGN_WORDS = {
    "fall": "a fall",
    "pain": "pain",
    "dizziness": "dizziness",
    "emergency": "an emergency sign",
    "near_fall": "a near fall",
    "distress": "despair",
    "health_news": "news of their health",
}
_DOUBT_WORDS = {"near_fall": "a fall or nearly one", "pain": "pain", "dizziness": "dizziness"}


def signs(report: DayReport) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The alert kinds of what was surely told, and of what may have been meant."""
    if (
        report.fall == "no"
        and report.pain == "no"
        and report.dizzy == "no"
        and not report.emergency
        and not report.near_fall
        and not report.distress
        and not report.health_news
    ):
        return (), ()
    told = ("emergency", "distress", "near_fall", "health_news")
    sure = [kind for kind in told if getattr(report, kind)]
    doubtful = []
    for answer, kind, doubt in (
        (report.fall, "fall", "near_fall"),
        (report.pain, "pain", "pain"),
        (report.dizzy, "dizziness", "dizziness"),
    ):
        if answer == "yes":
            sure.append(kind)
        elif answer != "no" and doubt not in sure:
            doubtful.append(doubt)
    return tuple(sure), tuple(doubtful)


def now_on(ladder: Ladder, history: Sequence[PastDay], report: DayReport) -> str:
    """Where the last move left the client; the reported rung if the ladder lost that one."""
    if history:
        placed = history[-1].move.to_key
        if placed in ladder:
            return placed
    return report.rung_key


def about_another_rung(
    ladder: Ladder, plan: Plan, report: DayReport, here: str, facts: Mapping[str, object]
) -> Move:
    """A placement made after the text went out stands; trouble on an easier rung is shown."""
    reported = report.rung_key
    because = "The report is about the rung before the last change: the new rung stands."
    easier = "on an easier rung than the new one"
    if plan.keeps_up and reported in {rung.key for rung in kept_up(ladder)}:
        because = "One of the rungs that are kept up: nothing moves."
        easier = "on a rung that is kept up"
    alerts: tuple[str, ...] = ()
    if reported in ladder and ladder.index(reported) <= ladder.index(here):
        judged = judge_day(ladder[reported], report, plan.target_s, plan.caution.far_short_share)
        if judged.bad:
            because += f" It was wobbly or short {easier}: please look."
            alerts = ("stuck",)
    told_of = {**facts, "reported_rung": reported}
    return Move("stay", here, here, "other_rung", because, alerts, told_of)


def closed_gate(ladder: Ladder, plan: Plan, upto: Rung) -> str | None:
    """The first closed gate at or below a rung: one closed behind the client holds too."""
    for rung in ladder.rungs[: ladder.index(upto.key) + 1]:
        if rung.gate is not None and rung.gate not in plan.open_gates:
            return rung.gate
    return None


def join(words: list[str]) -> str:
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " and " + words[-1]
