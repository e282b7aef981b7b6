"""Retests by a trainer at a visit, calls, and the rhythm in which a client is reviewed.

A review is a retest, a call or a visit. It is due `every_weeks` after the last one, or after the
client began. When it is due a `note` alert opens; handling that alert counts as a review too.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import delete, union_all
from sqlmodel import Session, col, func, select

from rungwise.coach.alerting.alerts import Raised, open_alert, raise_alert
from rungwise.coach.plan.placement import Handling, handle
from rungwise.coach.record.audit import record
from rungwise.coach.record.rhythm import USUAL_WEEKS, rhythm_of
from rungwise.coach.record.situation import load
from rungwise.errors import EditedMeanwhile, ImpossibleValue, NotFound
from rungwise.evidence import Change, Scored, change, kind_of, score, score_to_json
from rungwise.evidence.measures import age_of, sex_of
from rungwise.store.due import set_due
from rungwise.store.tables import (
    Alert,
    Baseline,
    Client,
    ClientNote,
    CourseLine,
    Due,
    HomeVisit,
    Practice,
    Retest,
    ReviewRhythm,
    Trainer,
)
from rungwise.time_zone import local_to_utc

# Common practice, no source.
EVERY_WEEKS = (4, 6)
OLDEST_DAYS = 366
LOOKS_AT = time(7, 0)
LOOKS_AGAIN_AFTER = timedelta(days=1)
LOOKS_WHETHER_BEGUN_AFTER = timedelta(days=7)
LONGEST_NOTE = 2000
# Someone who has not agreed yet, or has ended the texts, is not reviewed.
NOT_REVIEWED = ("invited", "stopped")


@dataclass(frozen=True, slots=True)
class NewRetest:
    """What a trainer measured at a visit. `measured`: as evidence.values_from_form gives it."""

    kind: str
    day: date
    age: int
    measured: Mapping[str, Any]
    sex: str | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class Result:
    """A stored retest, scored, with what changed since the one before of the same kind."""

    retest: Retest
    scored: Scored
    changed: Change | None = None


def record_retest(
    session: Session, now: datetime, trainer: Trainer, client: Client, new: NewRetest
) -> Retest:
    """Store a retest; it is a review, so the next one is due a rhythm later.

    ImpossibleValue for a date that is to come or over a year old, and for values that cannot be.
    """
    today = local_date(client, now)
    if not today - timedelta(days=OLDEST_DAYS) <= new.day <= today:
        raise ImpossibleValue(
            "date of the test", new.day.isoformat(), "a date within the last year"
        )
    scored = score(new.kind, new.measured)
    row = Retest(
        client_id=client.id,
        trainer_id=trainer.id,
        kind=new.kind,
        day=new.day,
        age=age_of(new.age),
        sex=sex_of(new.sex),
        measured=dict(new.measured),
        score=score_to_json(scored),
        note=new.note.strip()[:LONGEST_NOTE] or None,
        recorded_at=now,
    )
    session.add(row)
    session.flush()
    record(session, now, trainer, "retest", client_id=client.id, kind=new.kind, retest=row.id)
    reviewed(session, now, trainer, client, f"{kind_of(new.kind).title} on {new.day:%d %b}.")
    return row


def withdraw_retest(
    session: Session, now: datetime, trainer: Trainer, client: Client, retest_id: int
) -> None:
    """Take back a retest that was entered by mistake. It stays in the record, marked so."""
    row = session.get(Retest, retest_id)
    if row is None or row.client_id != client.id:
        raise NotFound("There is no such retest of this client.")
    if row.withdrawn_at is not None:
        raise EditedMeanwhile
    row.withdrawn_at, row.withdrawn_by = now, trainer.id
    session.add(row)
    record(session, now, trainer, "retest withdrawn", client_id=client.id, retest=row.id)
    schedule_review(session, now, client)


def record_call(
    session: Session, now: datetime, trainer: Trainer, client: Client, note: str
) -> None:
    """Store that the trainer called; it is a review. The note joins the client's notes."""
    said = note.strip()[:LONGEST_NOTE]
    if not said:
        raise ImpossibleValue("note", "", "one line, such as: called, all well, eager to go on")
    rhythm = rhythm_of(session, client.id)
    rhythm.called_on = local_date(client, now)
    session.add(rhythm)
    session.add(ClientNote(client_id=client.id, trainer_id=trainer.id, body=said, at=now))
    record(session, now, trainer, "review call", client_id=client.id)
    reviewed(session, now, trainer, client, f"Called: {said}")


def reviewed(session: Session, now: datetime, trainer: Trainer, client: Client, what: str) -> None:
    """A review took place: its alert is handled, and the next one is due a rhythm later."""
    alert = open_alert(session, client.id, "retest_due")
    if alert is not None:
        handle(session, now, trainer, alert, load(session, client), Handling(what))
    schedule_review(session, now, client)


def set_rhythm(
    session: Session, now: datetime, trainer: Trainer, client: Client, every_weeks: int
) -> None:
    """How many weeks between reviews; ImpossibleValue outside 4 to 6."""
    low, high = EVERY_WEEKS
    if isinstance(every_weeks, bool) or not low <= every_weeks <= high:
        raise ImpossibleValue("weeks between reviews", every_weeks, f"from {low} to {high}")
    rhythm = rhythm_of(session, client.id)
    rhythm.every_weeks = every_weeks
    session.add(rhythm)
    session.flush()
    record(session, now, trainer, "review rhythm", client_id=client.id, weeks=every_weeks)
    schedule_review(session, now, client)


# --- when the next one is due ---------------------------------------------------------------------


def reviews_due(session: Session, clients: Sequence[Client]) -> dict[int, date]:
    """The local date on which each client's next review is due, by client, in a few queries.

    Those who have not agreed yet or ended the texts are left out.
    """
    reviewed = [one for one in clients if one.state not in NOT_REVIEWED]
    last = last_reviews(session, reviewed)
    rhythms = select(ReviewRhythm.client_id, ReviewRhythm.every_weeks).where(
        col(ReviewRhythm.client_id).in_([one.id for one in reviewed])
    )
    weeks = dict(session.exec(rhythms).all())
    due = {}
    for one in reviewed:
        began = local_date(one, one.consent_at or one.created_at)
        since = max(began, last.get(one.id, began))
        due[one.id] = since + timedelta(weeks=weeks.get(one.id, USUAL_WEEKS))
    return due


def last_reviews(session: Session, clients: Sequence[Client]) -> dict[int, date]:
    """The local date of each client's last retest, call, visit or handled `retest_due` alert."""
    by_id = {one.id: one for one in clients}
    last: dict[int, date] = {}

    def seen(client_id: int, day: date) -> None:
        last[client_id] = max(last.get(client_id, day), day)

    called = select(ReviewRhythm.client_id, col(ReviewRhythm.called_on)).where(
        col(ReviewRhythm.client_id).in_(by_id), col(ReviewRhythm.called_on).is_not(None)
    )
    tests = (
        select(Retest.client_id, func.max(Retest.day))
        .where(col(Retest.client_id).in_(by_id), col(Retest.withdrawn_at).is_(None))
        .group_by(col(Retest.client_id))
    )
    visits = (
        select(HomeVisit.client_id, func.max(HomeVisit.day))
        .where(col(HomeVisit.client_id).in_(by_id), col(HomeVisit.done_at).is_not(None))
        .group_by(col(HomeVisit.client_id))
    )
    for client_id, day in session.execute(union_all(called, tests, visits)).all():
        seen(client_id, day)
    handled = (
        select(Alert.client_id, func.max(Alert.handled_at))
        .where(
            col(Alert.client_id).in_(by_id),
            Alert.kind == "retest_due",
            col(Alert.handled_at).is_not(None),
        )
        .group_by(col(Alert.client_id))
    )
    for client_id, at in session.exec(handled).all():
        if at is not None:
            seen(client_id, local_date(by_id[client_id], at))
    return last


def schedule_review(session: Session, now: datetime, client: Client) -> None:
    """Set when the tick next looks whether a review is due."""
    session.flush()
    # What stood on their course may have been seen to: it is looked at again.
    session.execute(delete(CourseLine).where(col(CourseLine.client_id) == client.id))
    due_on = reviews_due(session, [client]).get(client.id)
    at = now + LOOKS_WHETHER_BEGUN_AFTER
    if due_on is not None:
        at = max(local_to_utc(datetime.combine(due_on, LOOKS_AT), client.time_zone), now)
    set_due(session, "retest", client.id, at, due_on)


def review_due(session: Session, now: datetime, due: Due) -> None:
    """The tick looks: open the alert if a review is due, and set when to look again."""
    client = session.get_one(Client, due.subject_id)
    due_on = reviews_due(session, [client]).get(client.id)
    if due_on is None or due_on > local_date(client, now):
        schedule_review(session, now, client)
        return
    if open_alert(session, client.id, "retest_due") is None:
        weeks = rhythm_of(session, client.id).every_weeks
        did = f"Every {weeks} weeks a retest or a call is due. Nothing was sent to the client."
        practice = session.get_one(Practice, client.practice_id)
        raise_alert(session, now, practice, client, Raised("retest_due", did))
    set_due(session, "retest", client.id, now + LOOKS_AGAIN_AFTER, due_on)


# --- looking --------------------------------------------------------------------------------------


def retests_of(session: Session, client_id: int) -> list[Retest]:
    """The client's retests that stand, latest first."""
    rows = (
        select(Retest)
        .where(Retest.client_id == client_id, col(Retest.withdrawn_at).is_(None))
        .order_by(col(Retest.day).desc(), col(Retest.id).desc())
    )
    return list(session.exec(rows).all())


def results_of(session: Session, client_id: int) -> list[Result]:
    """Retests that stand, latest first, each scored and set against the one before it.

    A four-stage test has the baseline before it, if there was one.
    """
    found: list[Result] = []
    earlier: dict[str, Scored] = {}
    baseline = _baseline(session, client_id)
    if baseline is not None:
        earlier["four_stage"] = baseline
    for retest in reversed(retests_of(session, client_id)):
        scored = score(retest.kind, retest.measured)
        before = earlier.get(retest.kind)
        sex = sex_of(retest.sex)
        changed = None if before is None else change(before, scored, retest.age, sex)
        found.append(Result(retest, scored, changed))
        earlier[retest.kind] = scored
    return list(reversed(found))


def _baseline(session: Session, client_id: int) -> Scored | None:
    rows = select(Baseline).where(Baseline.client_id == client_id).order_by(col(Baseline.id).desc())
    row = session.exec(rows.limit(1)).first()
    if row is None:
        return None
    try:
        return score("four_stage", {"held_s": row.held_s})
    except ImpossibleValue:
        return None  # broken off before the test's own end: nothing to compare with


def latest(results: Iterable[Result]) -> dict[str, Result]:
    """The latest result of each test."""
    found: dict[str, Result] = {}
    for result in results:
        found.setdefault(result.retest.kind, result)
    return found


def local_date(client: Client, at: datetime) -> date:
    return at.astimezone(ZoneInfo(client.time_zone)).date()
