"""The weekly text to a client who wants it: what is true and kind, or no text at all.

It goes on Sunday afternoon, in the client's own time. It never goes to someone who rests, in a
week with a fall, pain, dizziness or a doubt about one, or while an alert about such is open: there
it would be neither. Seconds are left out, for they tell nothing of change from week to week.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from sqlmodel import Session, col, select

from rungwise.coach.outbox.texts import Text, queue_to_client
from rungwise.coach.record import questions
from rungwise.coach.record.codec import report_from_json
from rungwise.coach.record.quiet_hours import quiet_hours
from rungwise.coach.record.rhythm import rhythm_of, set_wanted
from rungwise.coach.record.wording import wording_of
from rungwise.concepts.alert_kinds import RESTING_KINDS
from rungwise.ladder.day import DayReport
from rungwise.store.due import clear_due, set_due
from rungwise.store.tables import Alert, Client, Due, MoveRow, Practice, Report, Trainer
from rungwise.ticks.due import next_due, still_worth_sending
from rungwise.wording.texts import days_words, render

SUNDAY = 6
AT = time(16, 0)
WEEK = timedelta(days=7)
# WHO 2020, 65 and over: balance on 3 or more days a week.
ENOUGH_DAYS = 3
# No cheerful text while one of these is open, or in a week that opened one.
GRAVE = (*RESTING_KINDS, "help", "stuck")


@dataclass(frozen=True, slots=True)
class Week:
    """What a client's last seven days hold: reports that stand, kinds of moves by the rule."""

    reports: tuple[DayReport, ...]
    moves: tuple[str, ...]

    @property
    def practised(self) -> int:
        return sum(practised(report) for report in self.reports)

    @property
    def any_sign(self) -> bool:
        """Whether a fall, pain, dizziness or an emergency was told or may have been meant."""
        return any(
            report.emergency or report.fall != "no" or report.pain != "no" or report.dizzy != "no"
            for report in self.reports
        )


def practised(report: DayReport) -> bool:
    """Whether the report tells of practice: not of skipping, nor only of how the client is."""
    told = report.holds or report.steadiness or report.steadiness_by_side
    return bool(told) and not report.skipped


def weekly_name(week: Week) -> str | None:
    """Which text is true and kind for this week; None for no text."""
    if week.any_sign or week.practised == 0 or "rest" in week.moves:
        return None
    if week.practised < ENOUGH_DAYS:
        return "weekly_some"
    onward = "up" in week.moves and "back" not in week.moves
    return "weekly_onward" if onward else "weekly_enough"


def set_weekly(
    session: Session, now: datetime, trainer: Trainer, client: Client, wanted: bool
) -> None:
    """Whether the client wants the weekly text."""
    set_wanted(session, now, trainer, client, "weekly_text", wanted)
    schedule_weekly(session, now, client)


def schedule_weekly(
    session: Session, after: datetime, client: Client, after_date: date | None = None
) -> None:
    """Set when the next weekly text is due, or clear it when none is wanted."""
    if not rhythm_of(session, client.id).weekly_text:
        clear_due(session, "weekly", client.id)
        return
    quiet = quiet_hours(session.get_one(Practice, client.practice_id))
    due = next_due(
        after, client.time_zone, AT, frozenset({SUNDAY}), quiet=quiet, after_date=after_date
    )
    if due is None:
        clear_due(session, "weekly", client.id)
    else:
        set_due(session, "weekly", client.id, due.at_utc, due.local_date)


def weekly_due(session: Session, now: datetime, due: Due) -> None:
    """Sunday afternoon has come: send the text if there is one, and set the next."""
    client = session.get_one(Client, due.subject_id)
    practice = session.get_one(Practice, client.practice_id)
    wanted = rhythm_of(session, client.id).weekly_text and client.state == "active"
    day = due.local_date
    if wanted and day is not None:
        in_time = still_worth_sending(due.at, now, client.time_zone, quiet_hours(practice))
        body = weekly_body(session, now, client, day) if in_time else None
        if body is not None:
            once = f"weekly:{client.id}:{day.isoformat()}"
            text = Text("weekly", body, once_key=once, local_date=day)
            queue_to_client(session, now, practice, client, text)
    schedule_weekly(session, max(now, due.at), client, day)


def weekly_body(session: Session, now: datetime, client: Client, last: date) -> str | None:
    """The text for the week that ends with `last`; None where none would be true and kind."""
    if questions.open_doubt(session, client.id) is not None or _grave(session, now, client.id):
        return None
    week = week_of(session, client.id, last)
    name = weekly_name(week)
    if name is None:
        return None
    days = days_words(week.practised, client.language)
    wording = wording_of(session, client.practice_id, client.language)
    return render(name, client.language, wording, called=client.called, days=days)


def week_of(session: Session, client_id: int, last: date) -> Week:
    """The seven dates that end with `last`."""
    first = last - WEEK + timedelta(days=1)
    told = session.exec(
        select(Report.told).where(
            Report.client_id == client_id,
            col(Report.local_date).between(first, last),
            col(Report.superseded_at).is_(None),
        )
    ).all()
    moves: Sequence[str] = session.exec(
        select(MoveRow.kind).where(
            MoveRow.client_id == client_id,
            col(MoveRow.local_date).between(first, last),
            col(MoveRow.superseded_at).is_(None),
        )
    ).all()
    return Week(tuple(report_from_json(one) for one in told), tuple(moves))


def _grave(session: Session, now: datetime, client_id: int) -> bool:
    rows = select(Alert.id).where(
        Alert.client_id == client_id,
        col(Alert.kind).in_(GRAVE),
        (col(Alert.state) != "handled") | (col(Alert.last_at) > now - WEEK),
    )
    return session.exec(rows).first() is not None
