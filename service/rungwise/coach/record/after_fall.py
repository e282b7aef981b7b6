"""What an incident still asks for before practice goes on: checklist, clinician's word, screening.

Decided by the table of rungwise.concepts.after_fall from what is stored.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TypeVar

from sqlmodel import Session, col, select

from rungwise.coach.record.audit import record
from rungwise.coach.record.clearance import latest_screening
from rungwise.coach.record.falls import falls_of
from rungwise.concepts.after_fall import (
    BY_NAME,
    RULES_VERSION,
    Follows,
    check_answers,
    follows,
    worries,
)
from rungwise.errors import ImpossibleValue, ServiceError
from rungwise.store.tables import Alert, Client, ClinicianWord, FallCheck, Incident, Trainer
from rungwise.time_zone import zone_named

Row = TypeVar("Row", FallCheck, ClinicianWord)

A_YEAR = timedelta(days=365)
# How a clinician's word came; the client's own retelling is no word.
WORD_BY = ("letter", "call", "seen")
LONGEST_NAME = 80
LONGEST_WORDS = 1000


class ChecklistFirst(ServiceError):
    """After a fall the checklist comes first. Answer what is left, then close it."""

    def __init__(self, missing: tuple[str, ...] = ()) -> None:
        left = "".join(f" {BY_NAME[name].asks}" for name in missing)
        super().__init__(f"{self.__doc__}{' Left:' if left else ''}{left}")


class WordFirst(ServiceError):
    """Practice rests until a clinician's word about this incident is recorded and allows it."""


class NotBefore(ServiceError):
    """The clinician's word allows practice from a later day."""

    def __init__(self, day: date) -> None:
        super().__init__(f"The clinician's word allows practice from {day:%d %B %Y}, not before.")


class ScreenFirst(ServiceError):
    """Much has changed for this client. Ask the screening's questions again first."""


@dataclass(frozen=True, slots=True)
class Standing:
    """Where an incident stands: what follows from its answers, and what is on record since."""

    follows: Follows
    check: FallCheck | None
    word: ClinicianWord | None
    screened: bool
    falls_in_year: int

    @property
    def waits_for_word(self) -> bool:
        return bool(self.follows.word) and (self.word is None or not self.word.allows)

    @property
    def waits_for_screening(self) -> bool:
        return bool(self.follows.screens) and not self.screened


@dataclass(frozen=True, slots=True)
class Word:
    """A clinician's word as given: `by` is one of WORD_BY; `limits` empty: none were given."""

    clinician: str
    said_on: date
    by: str
    examined: str
    allows: bool
    from_day: date | None = None
    limits: str = ""


def standing_of(session: Session, now: datetime, client: Client, incident: Incident) -> Standing:
    """Where this incident stands now."""
    check = _latest(session, FallCheck, incident.id)
    word = _latest(session, ClinicianWord, incident.id)
    count = len(falls_of(session, [client], now - A_YEAR).get(client.id, ()))
    answers = check.answers if check is not None else None
    screening = latest_screening(session, client.id)
    return Standing(
        follows(answers, kinds_of(session, incident.id), count),
        check,
        word,
        screening is not None and screening.at >= incident.opened_at,
        count,
    )


def kinds_of(session: Session, incident_id: int) -> set[str]:
    """The kinds of what was told in an incident, but for what was misread."""
    rows = select(Alert.kind).where(Alert.incident_id == incident_id, col(Alert.misread).is_(False))
    return set(session.exec(rows).all())


def _latest(session: Session, table: type[Row], incident_id: int) -> Row | None:
    rows = select(table).where(table.incident_id == incident_id)
    return session.exec(rows.order_by(col(table.id).desc()).limit(1)).first()


def store_check(
    session: Session,
    now: datetime,
    trainer: Trainer,
    incident: Incident,
    answers: Mapping[str, str],
) -> None:
    """Keep the answers of the checklist. ChecklistFirst while one is missing."""
    given = {name: value for name, value in answers.items() if value}
    check_answers(given)
    missing = follows(given, {"fall"}).missing
    if missing:
        raise ChecklistFirst(missing)
    session.add(
        FallCheck(
            client_id=incident.client_id,
            incident_id=incident.id,
            trainer_id=trainer.id,
            answers=given,
            rules_version=RULES_VERSION,
            at=now,
        )
    )
    session.flush()
    worried = sorted(name for name in given if worries(given, name))
    record(
        session, now, trainer, "after a fall", client_id=incident.client_id,
        incident=incident.id, yes_or_not_known=worried,
    )  # fmt: skip


def refuse_unchecked(session: Session, incident: Incident) -> FallCheck | None:
    """The checklist of this incident; ChecklistFirst while a fall of it has no answers."""
    check = _latest(session, FallCheck, incident.id)
    if check is None and "fall" in kinds_of(session, incident.id):
        raise ChecklistFirst
    return check


def record_word(
    session: Session, now: datetime, trainer: Trainer, incident: Incident, word: Word
) -> None:
    """Keep what a clinician said about an incident; it also answers a screening that asks first."""
    given = ClinicianWord(
        client_id=incident.client_id,
        incident_id=incident.id,
        trainer_id=trainer.id,
        clinician=_words("clinician", word.clinician, LONGEST_NAME),
        said_on=word.said_on,
        by=word.by,
        examined=_words("examined", word.examined, LONGEST_WORDS),
        allows=word.allows,
        from_day=word.from_day if word.allows else None,
        limits=word.limits.strip()[:LONGEST_WORDS],
        at=now,
    )
    if word.by not in WORD_BY:
        raise ImpossibleValue("by", word.by, " or ".join(WORD_BY))
    if word.said_on > now.date() + timedelta(days=1):
        raise ImpossibleValue("said_on", word.said_on.isoformat(), "today or earlier")
    if word.allows and word.from_day is None:
        raise ImpossibleValue("from_day", "", "the day from which they may practise")
    session.add(given)
    screening = latest_screening(session, incident.client_id)
    if screening is not None and screening.outcome == "ask_first":
        screening.clinician, screening.clinician_said = given.clinician, given.examined
        screening.clinician_allows = given.allows
        screening.recorded_by, screening.recorded_at = trainer.id, now
        session.add(screening)
    session.flush()
    record(
        session, now, trainer, "clinician's word", client_id=incident.client_id,
        incident=incident.id, allows=given.allows,
    )  # fmt: skip


def _words(field: str, given: str, most: int) -> str:
    words = given.strip()
    if not words or len(words) > most:
        raise ImpossibleValue(field, words[:40], f"filled in, in at most {most} characters")
    return words


def not_cleared(session: Session, client_id: int) -> list[Incident]:
    """The client's incidents after which practice has not gone on yet."""
    rows = select(Incident).where(
        Incident.client_id == client_id, col(Incident.cleared_at).is_(None)
    )
    return list(session.exec(rows.order_by(col(Incident.id))).all())


def refuse_return(session: Session, now: datetime, client: Client) -> None:
    """ChecklistFirst, WordFirst, NotBefore or ScreenFirst while an incident stands against it."""
    today = now.astimezone(zone_named(client.time_zone)).date()
    for incident in not_cleared(session, client.id):
        stands = standing_of(session, now, client, incident)
        if stands.follows.missing:
            raise ChecklistFirst(stands.follows.missing if stands.check is not None else ())
        if stands.waits_for_word or _said_no(stands.word):
            raise WordFirst
        if stands.word is not None and stands.word.from_day and stands.word.from_day > today:
            raise NotBefore(stands.word.from_day)
        if stands.waits_for_screening:
            raise ScreenFirst


def _said_no(word: ClinicianWord | None) -> bool:
    return word is not None and not word.allows


def eased_by(session: Session, client_id: int) -> bool:
    """Whether a fall happened while practising: practice then goes on a landmark lower."""
    checks = [_latest(session, FallCheck, one.id) for one in not_cleared(session, client_id)]
    return any(check is not None and worries(check.answers, "practising") for check in checks)


def clear_incidents(session: Session, now: datetime, client_id: int) -> None:
    """Practice goes on: what was asked for is over."""
    for incident in not_cleared(session, client_id):
        incident.cleared_at = now
        session.add(incident)
