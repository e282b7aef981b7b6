"""Days that a trainer enters: told by phone, seen at a visit, or told by a text read wrong.

1. Store what was entered as a row of its own; nothing that was stored before is changed.
2. Fold the day's report anew from all that was told of it, and decide, as after a text.
3. Signs of harm rest the client and open the alert that a text would open.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta

from sqlmodel import Session, col, or_, select

from rungwise.coach.conversation.dossier import Dossier
from rungwise.coach.conversation.effects import Effects
from rungwise.coach.conversation.told_by_trainer import (
    DayTold,
    Entered,
    as_told,
    entered_words,
    lowered,
    on_told,
)
from rungwise.coach.daily.apply import apply
from rungwise.coach.daily.day_readings import texts_of, told_in
from rungwise.coach.daily.dossiers import load_many
from rungwise.coach.daily.write_to_client import GetsNoTexts
from rungwise.coach.record.audit import record
from rungwise.coach.record.codec import (
    context_from_json,
    context_to_json,
    reading_from_json,
    reading_to_json,
    report_from_json,
)
from rungwise.coach.record.fall_records import told_otherwise
from rungwise.coach.record.situation import LEFT, Situation, current_report, current_reports
from rungwise.coach.record.told import (
    CORRECTION,
    TOLD,
    WAYS,
    WITHIN_DAYS,
    corrections_of,
)
from rungwise.concepts.alert_kinds import ALERTS
from rungwise.errors import ImpossibleValue, NotFound, ServiceError
from rungwise.reply.reading import Asked, Context, Reading
from rungwise.store.tables import Alert, Client, Message, MoveRow, Report, Trainer
from rungwise.time_zone import local_to_utc

LONGEST_WORDS = 500


class SignStillOpen(ServiceError):
    """A sign of harm was read in this text, and an alert of this client is still open.

    Handle the alert first; then the text can be read as telling less.
    """


@dataclass(frozen=True, slots=True)
class DayEntry:
    """What a trainer enters of one of the client's dates. `by` as in WAYS; `words` the client's own
    or the trainer's; `texts_client`: the safety text goes too, where there is a sign.
    """

    day: date
    by: str
    entered: Entered
    words: str = ""
    texts_client: bool = False


@dataclass(frozen=True, slots=True)
class Correction:
    """What a text should have been read as; `day` counts only where no day's report has it."""

    text: Message
    entered: Entered
    day: date | None = None
    words: str = ""
    texts_client: bool = False


@dataclass(frozen=True, slots=True)
class Outcome:
    """What was or would be stored, what follows from it, and the day that it is about."""

    row: Message
    dossier: Dossier
    effects: Effects
    day: date


# --- a day ----------------------------------------------------------------------------------------


def enter_day(
    session: Session, now: datetime, trainer: Trainer, situation: Situation, entry: DayEntry
) -> Outcome:
    """Store the day as told, decide it anew, and do what its signs call for."""
    outcome = look_at_day(session, now, trainer, situation, entry)
    _keep(session, now, situation, outcome)
    detail = {"day": entry.day.isoformat(), "by": entry.by, "entry": outcome.row.id}
    client = situation.client
    record(session, now, trainer, "day entered", client_id=client.id, **detail)
    _heard(session, now, situation, entry.day)
    return outcome


def look_at_day(
    session: Session, now: datetime, trainer: Trainer, situation: Situation, entry: DayEntry
) -> Outcome:
    """What entering the day would lead to; nothing is stored."""
    if entry.by not in WAYS:
        raise ImpossibleValue("how it was told", entry.by, " or ".join(WAYS))
    _refuse_day(situation, now, entry.day)
    if entry.entered.says_nothing:
        allowed = "seconds held, practised, not practised, or a sign"
        raise ImpossibleValue("what was told", "", allowed)
    entered = _by_side(situation, rung_of(session, situation, entry.day), entry.entered)
    reading = entered.reading()
    row = _row(now, trainer, situation, entry.by, entry.words, entered)
    row.local_date = entry.day
    row.context = context_to_json(Context(language=situation.client.language))
    row.reading = reading_to_json(reading)
    told = _Told(entry.day, reading, None, texts_client=entry.texts_client)
    return _outcome(session, now, situation, row, told)


def days_open(situation: Situation, now: datetime) -> tuple[date, date]:
    """The first and the last date that may be entered now."""
    today = situation.local_date(now)
    return today - timedelta(days=WITHIN_DAYS), today


def likeliest_day(session: Session, situation: Situation, now: datetime) -> date:
    """The latest date that was asked about and not told of; today where there is none."""
    first, today = days_open(situation, now)
    told = {row.local_date for row in current_reports(session, situation.client_id, first)}
    asked = select(col(Message.local_date)).where(
        Message.client_id == situation.client_id, *LEFT, col(Message.local_date) >= first
    )
    open_days = [day for day in session.exec(asked).all() if day is not None and day not in told]
    return max(open_days, default=today)


# --- a text read wrong ----------------------------------------------------------------------------


def correct_reading(
    session: Session, now: datetime, trainer: Trainer, situation: Situation, given: Correction
) -> Outcome:
    """Store what the text should have been read as, and decide its day anew."""
    outcome = look_at_correction(session, now, trainer, situation, given)
    _keep(session, now, situation, outcome)
    told_otherwise(session, now, trainer, situation.client, given.text)
    detail = {
        "text": given.text.id,
        "day": outcome.day.isoformat(),
        "entry": outcome.row.id,
    }
    client = situation.client
    record(session, now, trainer, "reading corrected", client_id=client.id, **detail)
    return outcome


def look_at_correction(
    session: Session, now: datetime, trainer: Trainer, situation: Situation, given: Correction
) -> Outcome:
    """What putting the reading right would lead to; nothing is stored."""
    before, asked = read_before(session, situation, now, given.text)
    day = day_of_text(session, situation, given.text) or given.day
    day = day or given.text.created_at.astimezone(situation.zone).date()
    _refuse_day(situation, now, day)
    entered = _by_side(situation, rung_of(session, situation, day), given.entered)
    after = entered.reading(instead_of=before, asked=asked)
    if lowered(before, after, asked) and open_signs(session, situation.client):
        raise SignStillOpen
    row = _row(now, trainer, situation, CORRECTION, given.words, entered)
    row.local_date, row.answers_id = day, given.text.id
    row.context, row.reading = given.text.context, reading_to_json(after)
    told = _Told(day, after, before, texts_client=given.texts_client)
    outcome = _outcome(session, now, situation, row, told)
    in_no_report = day_of_text(session, situation, given.text) is None
    if in_no_report and given.entered.says_nothing:
        return replace(outcome, effects=Effects(now))
    return outcome


def read_before(
    session: Session, situation: Situation, now: datetime, text: Message
) -> tuple[Reading, Asked]:
    """How the text is read as it stands, with all that its answer settled, and what was asked.

    NotFound for what is no text of this client's that can be put right.
    """
    first, _ = days_open(situation, now)
    ours = text.client_id == situation.client_id and text.direction == "in"
    if not ours or text.reading is None or text.context is None or text.removed_at is not None:
        raise NotFound("There is no text of this client's that could be put right.")
    if text.created_at.astimezone(situation.zone).date() < first:
        raise NotFound(f"Only a text of the last {WITHIN_DAYS} days can be put right.")
    right = corrections_of(session, [text.id]).get(text.id, text)
    asked = context_from_json(text.context).asked
    reading = reading_from_json(right.reading or {})
    return as_told(reading, asked), asked


def day_of_text(session: Session, situation: Situation, text: Message) -> date | None:
    """The date whose report has this text, or its correction; None where none has."""
    since = text.created_at.astimezone(situation.zone).date() - timedelta(days=WITHIN_DAYS)
    right = corrections_of(session, [text.id]).get(text.id)
    ids = {text.id, right.id if right is not None else text.id}
    reports = current_reports(session, situation.client_id, since)
    return next((row.local_date for row in reports if ids & set(row.message_ids)), None)


def open_signs(session: Session, client: Client) -> list[Alert]:
    """The alerts about harm that wait for the trainer: nothing told is taken back before."""
    kinds = [kind for kind, row in ALERTS.items() if row.rests or kind == "help"]
    rows = select(Alert).where(
        Alert.client_id == client.id, Alert.state != "handled", col(Alert.kind).in_(kinds)
    )
    return list(session.exec(rows.order_by(col(Alert.id))).all())


# --- both -----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Told:
    """One reading of a day; `before` is the one that it puts right."""

    day: date
    reading: Reading
    before: Reading | None
    texts_client: bool


def _refuse_day(situation: Situation, now: datetime, day: date) -> None:
    first, today = days_open(situation, now)
    if not first <= day <= today:
        allowed = f"from {first.isoformat()} to {today.isoformat()}, the last two weeks"
        raise ImpossibleValue("day", day.isoformat(), allowed)


def _by_side(situation: Situation, rung_key: str, entered: Entered) -> Entered:
    """What was held on both sides alike, where the day's rung has sides."""
    ladder = situation.ladder
    sided = rung_key in ladder and len(ladder[rung_key].sides) > 1
    if not sided or any(hold.side is not None for hold in entered.holds):
        return entered
    return replace(entered, holds=tuple(replace(hold, side="both") for hold in entered.holds))


def _row(
    now: datetime,
    trainer: Trainer,
    situation: Situation,
    kind: str,
    words: str,
    entered: Entered,
) -> Message:
    said = " ".join(words.split())[:LONGEST_WORDS]
    return Message(
        practice_id=situation.client.practice_id,
        client_id=situation.client_id,
        trainer_id=trainer.id,
        direction=TOLD,
        kind=kind,
        body=f"{entered_words(entered)} {said}".strip(),
        from_phone="",
        to_phone="",
        carrier="",
        state="read",
        created_at=now,
        settled_at=now,
    )


def _outcome(
    session: Session, now: datetime, situation: Situation, row: Message, told: _Told
) -> Outcome:
    if told.texts_client and situation.client.state in ("stopped", "invited"):
        raise GetsNoTexts
    reports = current_reports(session, situation.client_id, days_open(situation, now)[0])
    standing = next((one for one in reports if one.local_date == told.day), None)
    rows = texts_of(session, standing.message_ids) if standing is not None else []
    day = DayTold(
        told.day,
        rung_of(session, situation, told.day),
        told_in([*rows, row]),
        told.reading,
        told.before,
        texts_client=told.texts_client,
    )
    dossier = _dossier(session, now, situation.client, reports)
    return Outcome(row, dossier, on_told(dossier, day, now), told.day)


def _dossier(session: Session, now: datetime, client: Client, reports: Sequence[Report]) -> Dossier:
    """The client's dossier with the reports of every date that may be entered."""
    dossier = load_many(session, now, [client])[client.id]
    return replace(dossier, reports={row.local_date: report_from_json(row.told) for row in reports})


def rung_of(session: Session, situation: Situation, day: date) -> str:
    """The rung that this date was about: as told, as asked for, or where the client then stood."""
    standing = current_report(session, situation.client_id, day)
    if standing is not None:
        return standing.rung_key
    asked = select(Message.rung_key).where(
        Message.client_id == situation.client_id,
        *LEFT,
        Message.local_date == day,
        col(Message.rung_key).is_not(None),
    )
    prompted = session.exec(asked).first()
    if prompted is not None:
        return prompted
    end = local_to_utc(
        datetime.combine(day + timedelta(days=1), time()), situation.client.time_zone
    )
    stood = (
        select(MoveRow.to_key)
        .where(
            MoveRow.client_id == situation.client_id,
            MoveRow.decided_at < end,
            or_(col(MoveRow.superseded_at).is_(None), col(MoveRow.superseded_at) >= end),
        )
        .order_by(col(MoveRow.id).desc())
        .limit(1)
    )
    return session.exec(stood).first() or situation.placement.rung_key


def _keep(session: Session, now: datetime, situation: Situation, outcome: Outcome) -> None:
    session.add(outcome.row)
    session.flush()
    apply(session, now, situation.client, outcome.dossier, outcome.effects, outcome.row)
    situation.client.version += 1
    session.add(situation.client)


def _heard(session: Session, now: datetime, situation: Situation, day: date) -> None:
    """A client whose day was told has not been silent since."""
    end = local_to_utc(
        datetime.combine(day + timedelta(days=1), time()), situation.client.time_zone
    )
    client = situation.client
    client.last_reply_at = max(filter(None, (client.last_reply_at, min(now, end))))
    session.add(client)


def _end_of(situation: Situation, day: date) -> datetime:
    midnight = datetime.combine(day + timedelta(days=1), time())
    return local_to_utc(midnight, situation.client.time_zone)
