"""What the clock leads to for one client: the day's text and its reminder, days without a word,
and questions nobody answered.
"""

from dataclasses import replace
from datetime import date, datetime, timedelta

from rungwise.coach.conversation.day_text import (
    is_first_day,
    next_prompt,
    reminder_of,
    still_sensible_until,
    task_body,
)
from rungwise.coach.conversation.dossier import Dossier, OpenQuestion
from rungwise.coach.conversation.effects import (
    Answered,
    Effects,
    Missed,
    Say,
    SetDue,
    ShowPicture,
)
from rungwise.coach.conversation.turn import Turn
from rungwise.concepts.alert_kinds import Urgency
from rungwise.concepts.client_states import State
from rungwise.concepts.questions import DOUBT_WAITS, HELP_WAITS, QUESTIONS
from rungwise.ladder.absence import decide_absence, surely_here
from rungwise.ladder.moves import Move
from rungwise.ticks.due import Due, is_quiet, still_worth_sending

SILENT_AFTER = 3
MINUTE = timedelta(minutes=1)
# Never the wording of the last time.
REMINDERS = ("reminder_a", "reminder_b")
IN_DOUBT = "Waiting for the answer to a safety question."
DOWN = "The service was down when it was due."


def waits(dossier: Dossier, question: OpenQuestion) -> timedelta | None:
    """How long this question waits for its answer; None: for ever.

    "Are you hurt?" after a sign waits for nobody, for the sign is urgent already; its next page
    says that no answer came.
    """
    if question.kind == "hurt" and dossier.resting:
        return HELP_WAITS
    return QUESTIONS[question.kind].waits


def on_unanswered(dossier: Dossier, kind: str, now: datetime) -> Effects:
    """Nobody answered a question in time: people are told, the client is sent nothing."""
    turn = Turn(dossier, now)
    row = QUESTIONS[kind]
    minutes = int((row.waits or DOUBT_WAITS) / MINUTE)
    did = f"The question was not answered in {minutes} minutes. Please call the client."
    if kind == "fall_weekly":
        turn.do(Answered(kind))  # the week stays missing
    elif kind == "hurt" and dossier.resting:
        turn.line("No answer to 'are you hurt?'. Please call the client.", "help")
    else:
        turn.tell(dossier.alert_of(kind), did, Urgency.URGENT, anew=True)
        if kind == "worse_yes_no":
            turn.do(Answered(kind))
            turn.rest()
    return turn.effects()


def on_prompt(dossier: Dossier, due: Due, now: datetime) -> Effects:
    """The client's hour has come: the day's text, or why not, and when the next is due."""
    turn = Turn(dossier, now)
    if dossier.standing is None or dossier.state != State.ACTIVE:
        turn.do(SetDue("prompt", None))
        return turn.effects()
    day = due.local_date
    if dossier.prompted_on is None or day > dossier.prompted_on:
        _watch_silence(turn)
        problem = why_no_prompt(dossier, due, now)
        if problem is not None:
            turn.do(Missed(day, problem))
        elif not _rests_for_absence(turn, day):
            _prompt(turn, due)
    _set_next(turn, due, dossier.prompted_on)
    return turn.effects()


def why_no_prompt(dossier: Dossier, due: Due, now: datetime) -> str | None:
    """Why an active client's prompt is missed now; None when it is not."""
    if dossier.doubt is not None:
        return IN_DOUBT
    if not still_worth_sending(due.at_utc, now, dossier.zone, dossier.quiet):
        return DOWN
    return None


def _watch_silence(turn: Turn) -> None:
    """Three prompts running without a word, and again at every third: tell the trainer."""
    silent = turn.dossier.prompts_unanswered
    if silent > 0 and silent % SILENT_AFTER == 0:
        turn.tell("silence", f"No reply to the last {silent} prompts. Prompts go on.")


def absence_move(dossier: Dossier, day: date) -> Move | None:
    """The move that the client's days away by this date call for."""
    standing = dossier.standing
    if standing is None:
        return None
    since, plan = standing.since, standing.settings.plan(dossier.resting)
    # Asked first, for most days call for nothing and the ladder need not be built.
    if surely_here(plan, dossier.past, since, day):
        return None
    return decide_absence(standing.ladder, plan, dossier.past, standing.rung_key, since, day)


def _rests_for_absence(turn: Turn, day: date) -> bool:
    """Make the move that days away call for. True when the client now rests."""
    move = absence_move(turn.dossier, day)
    if move is not None:
        turn.moved_by_absence(day, move)
    return turn.dossier.resting


def _prompt(turn: Turn, due: Due) -> None:
    dossier, standing, day = turn.dossier, turn.dossier.standing, due.local_date
    if standing is None:
        return
    rung = standing.rung_on(day)
    first_day = is_first_day(dossier.prompted_key, rung.key)
    telling = replace(standing.telling, first_day=first_day)
    # A link shows the rung that the client is on, and would show another than the text.
    picture = dossier.picture if rung.key == standing.rung_key else ""
    body = task_body(rung, standing.body, telling, dossier.language, dossier.wording, picture)
    if picture:
        turn.do(ShowPicture(picture, standing.rung_key))
    until = still_sensible_until(due.at_utc, dossier.zone, dossier.quiet)
    turn.do(Say("prompt", body, "prompt", rung.key, day, until))
    reminder = reminder_of(standing.settings, dossier.zone, day, turn.now)
    if reminder is not None:
        turn.do(SetDue("reminder", reminder))


def _set_next(turn: Turn, due: Due, before: date | None) -> None:
    dossier, standing = turn.dossier, turn.dossier.standing
    following = None
    if standing is not None and dossier.state == State.ACTIVE:
        handled = (before, due.local_date)
        following = next_prompt(
            standing.settings, dossier.zone, dossier.quiet, due.at_utc, *handled
        )
    turn.do(SetDue("prompt", following))


def on_reminder(dossier: Dossier, day: date, now: datetime) -> Effects:
    """No reply by evening: one reminder, if the trainer wanted one and nothing came."""
    turn = Turn(dossier, now)
    turn.do(SetDue("reminder", None))
    if dossier.standing is not None and why_no_reminder(dossier, day, now) is None:
        name = REMINDERS[day.toordinal() % len(REMINDERS)]
        turn.do(Say(name, turn.words(name), "reminder", day=day))
    return turn.effects()


def why_no_reminder(dossier: Dossier, day: date, now: datetime) -> str | None:
    """Why no reminder of this date's practice may go now; None when it may."""
    if dossier.state != State.ACTIVE:
        return f"The client is {dossier.state}."
    if is_quiet(now, dossier.zone, dossier.quiet):
        return "Quiet hours."
    if day in dossier.reports:
        return "The client has reported already."
    if dossier.doubt is not None:
        return IN_DOUBT
    return DOWN if day != dossier.today(now) else None
