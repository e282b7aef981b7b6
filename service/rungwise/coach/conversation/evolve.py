"""The dossier as it is after effects: what storing them and loading it again would give."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from rungwise.coach.conversation.day_text import next_prompt
from rungwise.coach.conversation.dossier import (
    Dossier,
    LastPrompt,
    OpenAlert,
    OpenQuestion,
)
from rungwise.coach.conversation.effects import (
    Answered,
    Ask,
    AskedAgain,
    Become,
    Begin,
    Decide,
    Effects,
    Missed,
    Moved,
    NoReminder,
    Say,
    SetDue,
    SetPlan,
    Step,
    TakeBack,
    Tell,
    Unread,
)
from rungwise.concepts.alert_kinds import ALERTS, URGENCIES
from rungwise.concepts.client_states import State
from rungwise.concepts.questions import PASSING
from rungwise.ladder.day import DayReport
from rungwise.ladder.moves import PastDay
from rungwise.ticks.due import Due

OUR_TEXTS_KEPT = 8
# Goes when a client agrees to texts.
FIRST_TEXT = "first"


def evolve(dossier: Dossier, effects: Effects) -> Dossier:
    """The dossier after all steps."""
    for step in effects.steps:
        dossier = after_step(dossier, step, effects.at)
    return dossier


def after_step(dossier: Dossier, step: Step, now: datetime) -> Dossier:
    """The dossier after one step."""
    match step:
        case Say():
            return _said(dossier, step, now)
        case Ask(kind, day, since):
            return _asked(dossier, OpenQuestion(kind, day, now, since=since))
        case AskedAgain(kind):
            questions = tuple(
                replace(each, unclear=each.unclear + 1) if each.kind == kind else each
                for each in dossier.questions
            )
            return replace(dossier, questions=questions)
        case Answered(kind, _):
            left = tuple(each for each in dossier.questions if each.kind != kind)
            return replace(dossier, questions=left)
        case Tell():
            return replace(dossier, alerts=_told(dossier.alerts, step))
        case Decide():
            return _decided(dossier, step)
        case Moved(day, move) if dossier.standing is not None:
            past = (*dossier.past, PastDay(day, None, move))
            return replace(
                dossier, past=past, standing=replace(dossier.standing, rung_key=move.to_key)
            )
        case Become(state, underneath):
            began_again = dossier.state == State.STOPPED and state == State.ACTIVE
            dossier = replace(dossier, state=state, stopped_from=underneath)
            return _due_anew(dossier, now) if began_again else dossier
        case Begin():
            said = dossier.said | {FIRST_TEXT}
            return _due_anew(replace(dossier, state=State.ACTIVE, said=said), now)
        case SetPlan(settings) if dossier.standing is not None:
            standing = replace(dossier.standing, settings=settings)
            return _due_anew(replace(dossier, standing=standing), now)
        case SetDue(kind, due):
            return _due(dossier, kind, due)
        case NoReminder():
            return _due(dossier, "reminder", None)
        case TakeBack(everything) if everything or dossier.state != State.ACTIVE:
            return replace(dossier, due={})
        case Missed(day, _):
            return replace(dossier, prompted_on=day)
        case Unread(run):
            return replace(dossier, unread_run=run)
    return dossier


def _said(dossier: Dossier, step: Say, now: datetime) -> Dossier:
    texts = (step.body, *dossier.our_texts)[:OUR_TEXTS_KEPT]
    dossier = replace(dossier, our_texts=texts, said=dossier.said | {step.name})
    if step.kind == "prompt":
        day = step.day or dossier.today(now)
        return replace(
            dossier,
            prompt=LastPrompt(day, step.rung_key, now),
            prompted_on=day,
            prompted_key=step.rung_key,
            prompts_unanswered=dossier.prompts_unanswered + 1,
        )
    if step.rung_key is None or dossier.prompt is None:
        return dossier
    return replace(dossier, prompt=replace(dossier.prompt, rung_key=step.rung_key))


def after_word(dossier: Dossier) -> Dossier:
    """The dossier of a client who has just written."""
    return replace(dossier, prompts_unanswered=0)


def _due(dossier: Dossier, kind: str, due: Due | None) -> Dossier:
    others = {name: each for name, each in dossier.due.items() if name != kind}
    return replace(dossier, due=others if due is None else {**others, kind: due})


def _due_anew(dossier: Dossier, now: datetime) -> Dossier:
    """With the next prompt worked out from now on."""
    standing, due = dossier.standing, None
    if standing is not None and dossier.state == State.ACTIVE:
        due = next_prompt(standing.settings, dossier.zone, dossier.quiet, now, dossier.prompted_on)
    return _due(dossier, "prompt", due)


def _asked(dossier: Dossier, question: OpenQuestion) -> Dossier:
    if any(each.kind == question.kind for each in dossier.questions):
        return dossier
    kept = tuple(each for each in dossier.questions if each.kind not in PASSING)
    return replace(dossier, questions=(question, *kept))


def _told(alerts: tuple[OpenAlert, ...], step: Tell) -> tuple[OpenAlert, ...]:
    urgency = step.urgency or str(ALERTS[step.kind].urgency)
    for place, alert in enumerate(alerts):
        if alert.kind == step.kind:
            worst = min(alert.urgency, urgency, key=URGENCIES.index)
            grown = replace(alert, urgency=worst, seen=False)
            return (*alerts[:place], grown, *alerts[place + 1 :])
    return (*alerts, OpenAlert(step.kind, urgency))


def _decided(dossier: Dossier, step: Decide) -> Dossier:
    report, move, standing = step.report, step.move, dossier.standing
    past = (*without_day(dossier.past, report), PastDay(report.day, report, move))
    if standing is not None:
        since = standing.since if report.skipped else max(standing.since, report.day)
        standing = replace(standing, rung_key=move.to_key, since=since)
    reports = {**dossier.reports, report.day: report}
    return replace(dossier, past=past, reports=reports, standing=standing)


def without_day(past: Sequence[PastDay], report: DayReport) -> tuple[PastDay, ...]:
    """The past without the report and move that a report of the same date replaces."""
    return tuple(each for each in past if each.report is None or each.day != report.day)
