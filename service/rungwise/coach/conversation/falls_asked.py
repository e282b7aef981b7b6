"""Asking on the calendar whether the client fell, and what the answer leads to.

There is no worry behind the question, so it waits for every other one and silence holds nothing:
the time it asked about stays missing. A yes is a fall told.
"""

from dataclasses import replace
from datetime import date, datetime, time, timedelta

from rungwise.coach.conversation.dossier import Dossier, OpenQuestion
from rungwise.coach.conversation.effects import AskedAgain, Effects
from rungwise.coach.conversation.questions_answered import act_on
from rungwise.coach.conversation.result import answers_a_result
from rungwise.coach.conversation.signs import doubtful, sure_signs
from rungwise.coach.conversation.turn import Turn
from rungwise.concepts.alert_kinds import Urgency
from rungwise.concepts.answers import ANSWERS
from rungwise.concepts.client_states import State
from rungwise.concepts.questions import QUESTIONS
from rungwise.reply.reading import Context, Reading
from rungwise.ticks.due import Due, Quiet, is_quiet, next_due
from rungwise.time_zone import local_to_utc
from rungwise.wording.dates import date_words

SUNDAY = 6
AT = time(17)
# As often it is tried again on the same evening, while something else is in the way.
TRIED_AFTER = timedelta(hours=1)
ANOTHER_QUESTION = "Another question waits for its answer."
PROMPTED = "The day's text goes within the hour, or has just gone."
WEEK = timedelta(days=7)
# Who began lately is asked with the next ones: so few days are no time to ask about.
LEAST = timedelta(days=3)


def asks_about(day: date, every_weeks: int, began: date, asked_last: date | None) -> date | None:
    """The first date that is asked about on `day`: not before the client began, and none twice.

    None while it is not time yet.
    """
    since = max(began, day - every_weeks * WEEK)
    if asked_last is not None:
        if day < asked_last + every_weeks * WEEK:
            return None
        since = max(since, asked_last)
    return since if day - since >= LEAST else None


def next_asked(
    after: datetime, zone: str, quiet: Quiet, after_date: date | None = None
) -> Due | None:
    """When it is next looked whether to ask: on Sunday, in the client's own time."""
    return next_due(after, zone, AT, frozenset({SUNDAY}), quiet=quiet, after_date=after_date)


def tried_again(dossier: Dossier, now: datetime) -> datetime | None:
    """When to try again on the same day, where another question or text was in the way."""
    later = now + TRIED_AFTER
    same_day = dossier.today(later) == dossier.today(now)
    waits = why_not_asked(dossier, now) in (ANOTHER_QUESTION, PROMPTED)
    return (
        later if waits and same_day and not is_quiet(later, dossier.zone, dossier.quiet) else None
    )


def why_not_asked(dossier: Dossier, now: datetime) -> str | None:
    """Why the client is not asked about falls now; None when they may be."""
    if dossier.state != State.ACTIVE or dossier.standing is None:
        return f"The client is {dossier.state}."
    if dossier.away_on(dossier.today(now)):
        return "The client is away."
    if dossier.question(now) is not None:
        return ANOTHER_QUESTION
    return PROMPTED if _prompted_about_now(dossier, now) else None


def _prompted_about_now(dossier: Dossier, now: datetime) -> bool:
    """An answer of yes or no would be to either of two texts that came together."""
    today, standing = dossier.today(now), dossier.standing
    if standing is None or today.weekday() not in standing.settings.weekdays:
        return False
    at = local_to_utc(datetime.combine(today, standing.settings.prompt_at), dossier.zone)
    return abs(now - at) < TRIED_AFTER


def on_falls_asked(dossier: Dossier, since: date, now: datetime) -> Effects:
    """The day has come: ask, or nothing where that may not be now."""
    turn = Turn(dossier, now)
    if why_not_asked(dossier, now) is None:
        known = any(
            each.report.fall == "yes"
            for each in dossier.past
            if each.report is not None and each.day >= since
        )
        turn.ask("fall_weekly", dossier.today(now), since)
        name = "ask_week_more" if known else QUESTIONS["fall_weekly"].text
        turn.say(name, "falls", date=date_words(since, dossier.language))
    return turn.effects()


def overtaken(dossier: Dossier, question: OpenQuestion) -> bool:
    """Whether the day's text has come since the calendar's question, so that a plain answer may be
    to that.
    """
    prompt = dossier.prompt
    return question.kind == "fall_weekly" and prompt is not None and prompt.at > question.asked_at


def week_answered(turn: Turn, reading: Reading, context: Context) -> bool:
    """Act on the answer to the calendar's question. True when all is said."""
    question = turn.dossier.asked("fall_weekly")
    if question is None:
        return False
    code = reading.answer
    if context.asked == "result" and reading.yes_no == "yes" and not doubtful(reading):
        # To the day's text, or to the question before it: to be asked.
        code = "unknown"
    elif context.asked != "fall_weekly":
        return False
    if code == "yes":
        # A bare number or "twice" tells of falls as "yes" does.
        return sure_signs(turn, replace(reading, fall="yes"), context)
    if code in ("comfort", "question") and reading.topic is None and not doubtful(reading):
        _unclear(turn, question.unclear, question.since or question.day)
        return True
    outcome = ANSWERS["fall_weekly"].get(code or "")
    if outcome is None:
        return False
    turn.answered("fall_weekly", code)
    if code == "no":
        if doubtful(reading) or answers_a_result(reading, context) or reading.news or reading.asks:
            return False
        turn.say(outcome.text)
        return True
    turn.hold()
    act_on(turn, reading, context, outcome)
    return True


def _unclear(turn: Turn, unclear: int, since: date) -> None:
    """Comfort is no answer: asked once more in other words, then the time stays missing."""
    row = QUESTIONS["fall_weekly"]
    if unclear == 0:
        turn.do(AskedAgain("fall_weekly"))
        turn.say(row.again, date=date_words(since, turn.dossier.language))
        return
    turn.answered("fall_weekly")
    turn.tell("unread", "Asked about falls, and twice the answer was not clear.", Urgency.NOTE)
    turn.say(row.unclear)
