"""A day's result: which date it is for, the report it makes, the move, and the answer."""

from datetime import date, datetime, timedelta

from sqlmodel import Session

from rungwise.coach.alerting.alerts import Raised, raise_alert
from rungwise.coach.daily.exchange import Reply
from rungwise.coach.daily.report_fold import fold, missing
from rungwise.coach.record import questions
from rungwise.coach.record.moves import base_report, decide_day
from rungwise.coach.record.situation import Situation, current_report, last_prompt
from rungwise.ladder.day import DayReport
from rungwise.ladder.moves import Move
from rungwise.wording.answers import Follows, answer_text, ask_text
from rungwise.wording.rung_words import rung_text
from rungwise.wording.texts import render

# A reply this long after its prompt is no longer about it.
ANSWERS_WITHIN = timedelta(hours=36)
MOVE_ALERTS = {
    "stuck": "The client stays on this rung.",
    "held_back": (
        "The client stays on this rung: the second opinion has held the next step back for 14 "
        "practised days. Watch a hold, then place them on the next rung, or let them go on here."
    ),
    "gate_reached": "The client stays on this rung until you open the gate.",
    "away": "Prompts stopped.",
}


def day_of_reply(session: Session, now: datetime, situation: Situation) -> tuple[date, str | None]:
    """The local date a reply is about, and the rung asked for on it.

    Today, unless the last prompt is from an earlier date, is recent, and was not reported on yet:
    then the reply is a late one.
    """
    today = situation.local_date(now)
    prompt = last_prompt(session, situation.client_id)
    if prompt is None or prompt.local_date is None:
        return today, None
    if prompt.local_date == today:
        return today, prompt.rung_key
    recent = now - prompt.created_at <= ANSWERS_WITHIN
    if recent and current_report(session, situation.client_id, prompt.local_date) is None:
        return prompt.local_date, prompt.rung_key
    return today, None


def decide_reply(reply: Reply, day: date) -> tuple[DayReport, Move, bool]:
    """Fold the reading into its day's report and decide; True when it corrected an earlier one."""
    session, situation = reply.session, reply.situation
    earlier = current_report(session, situation.client_id, day)
    base = base_report(session, situation, day, reply.asked_key)
    report = fold(base, reply.reading, reply.context.asked)
    move = decide_day(session, reply.now, situation, report, reply.message.id)
    return report, move, reply.reading.correction and earlier is not None


def answer_day(reply: Reply) -> None:
    """Store the day's result, decide, and say what was understood and what follows."""
    session, now, reading = reply.session, reply.now, reply.reading
    question = questions.current_question(session, now, reply.situation.client_id)
    asked = question is not None and question.kind == reply.context.asked
    if question is not None and asked and question.kind not in questions.SAFETY:
        questions.answered(session, now, question, reply.message)
    day = questions.date_answered(session, reply.message) or reply.day
    if reading.effort is not None:
        _note_effort(reply, reading.effort)
    if reading.same_as_before and not reading.holds:
        questions.ask(session, now, reply.situation.client_id, "seconds", day)
        reply.answer(ask_text(reply.client.language, "same", wording=reply.wording))
        return
    if not (reading.holds or reading.steadiness or reading.kind == "skipped" or reading.yes_no):
        return
    report, move, corrected = decide_reply(reply, day)
    questions.reminder_needless(session, reply.situation.client_id)
    for kind in move.alerts:
        reply.alert(kind, MOVE_ALERTS.get(kind, "Nothing was moved."))
    if report.holds or report.steadiness or report.skipped:
        _answer(reply, report, move, corrected=corrected)


def _note_effort(reply: Reply, effort: str) -> None:
    said = "too hard" if effort == "too_hard" else "too easy"
    reply.alert("effort", f"The client finds this rung {said}. Nothing was moved for it.")
    if not (reply.reading.holds or reply.reading.steadiness):
        reply.say(effort)


def answer_question(reply: Reply) -> None:
    """Keep a question for the trainer; where it is about today's stance, send the task again.

    Nothing that could be read as "go on" goes to a client who rests or is paused, whose fall is in
    doubt, or who has since come to another rung than the one asked for.
    """
    situation = reply.situation
    doubt = questions.open_doubt(reply.session, situation.client_id)
    practising = reply.client.state == "active" and doubt is None
    here = reply.asked_key == situation.rung.key
    if not (practising and here and reply.reading.about_task):
        reply.alert("question", "The client was told that you have the question.")
        reply.say("question_kept")
        return
    reply.alert(
        "question", "The client got the task again, and was told that you have the question."
    )
    language = reply.client.language
    task = rung_text(situation.rung, situation.settings.target_s, language).strip()
    body = render("task_again", language, reply.wording, task=task)
    reply.answer(body, rung_key=situation.rung.key)


def raise_move_alert(session: Session, now: datetime, situation: Situation, kind: str) -> None:
    """The alert that a decision without a text calls for."""
    raised = Raised(kind, MOVE_ALERTS.get(kind, "Nothing was moved."))
    raise_alert(session, now, situation.practice, situation.client, raised)


def _answer(reply: Reply, report: DayReport, move: Move, *, corrected: bool) -> None:
    session, situation = reply.session, reply.situation
    if situation.resting:
        reply.say("resting")
        return
    doubt = questions.open_doubt(session, situation.client_id)
    if doubt is not None:
        # Nothing that could be read as "go on" while a fall or pain is in doubt.
        reply.say(questions.TEXT_OF[doubt.kind], "safety")
        return
    if report.skipped:
        reply.say("skipped")
        return
    rung = situation.ladder[report.rung_key]
    wanted = missing(report, rung, situation.settings.target_s)
    if wanted is not None:
        questions.ask(session, reply.now, situation.client_id, wanted, report.day)
    late = report.day != situation.local_date(reply.now)
    body = answer_text(
        reply.client.language,
        holds=report.holds,
        steadiness=report.steadiness,
        steadiness_by_side=report.steadiness_by_side,
        move_kind=_follows(move),
        corrected=corrected,
        late_weekday=report.day.weekday() if late else None,
        ask=wanted,
        sided=len(rung.sides) > 1,
        wording=reply.wording,
    )
    reply.answer(body)


def _follows(move: Move) -> Follows:
    if move.kind in ("up", "back", "rest"):
        return move.kind
    if move.rule == "gate":
        return "gate"
    return "unfinished" if move.rule == "unfinished" else "stay"
