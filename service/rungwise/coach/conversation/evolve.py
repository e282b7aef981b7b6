"""The dossier as it is after effects: what storing them and loading it again would give."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

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
    Moved,
    Say,
    SetPlan,
    Step,
    Tell,
    Unread,
)
from rungwise.concepts.alert_kinds import ALERTS, URGENCIES
from rungwise.concepts.questions import PASSING
from rungwise.ladder.day import DayReport
from rungwise.ladder.moves import PastDay

OUR_TEXTS_KEPT = 8


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
            return replace(dossier, state=state, stopped_from=underneath)
        case Begin():
            return replace(dossier, state="active")
        case SetPlan(settings) if dossier.standing is not None:
            return replace(dossier, standing=replace(dossier.standing, settings=settings))
        case Unread(run):
            return replace(dossier, unread_run=run)
    return dossier


def _said(dossier: Dossier, step: Say, now: datetime) -> Dossier:
    texts = (step.body, *dossier.our_texts)[:OUR_TEXTS_KEPT]
    dossier = replace(dossier, our_texts=texts, said=dossier.said | {step.name})
    if step.rung_key is None:
        return dossier
    return replace(dossier, prompt=LastPrompt(dossier.today(now), step.rung_key, now))


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
            grown = replace(alert, urgency=worst, seen=False, texts=alert.texts + 1)
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
