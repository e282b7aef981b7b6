"""Clients followed for falls: what they were asked and answered, and the falls known of them."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime, time, timedelta

from sqlmodel import Session, col, select

from rungwise.coach.record.falls import falls_of
from rungwise.evidence.falls import Followed
from rungwise.evidence.falls_followed import Asked, follow
from rungwise.store.tables import Client, Question
from rungwise.time_zone import zone_named

ANSWERS = ("yes", "no")


def asked_of(session: Session, client_ids: Sequence[int]) -> Mapping[int, list[Asked]]:
    """What each client was asked about falls, oldest first, and whether they answered.

    Who did not know was asked "did you fall?" in the same moment; the answer to that counts.
    """
    rows = select(Question).where(
        col(Question.client_id).in_(client_ids),
        col(Question.kind).in_(("fall_weekly", "fall_yes_no")),
    )
    asked: list[Question] = []
    settled: dict[tuple[int, datetime | None], str] = {}
    for row in session.exec(rows.order_by(col(Question.local_date), col(Question.id))).all():
        if row.kind == "fall_weekly":
            asked.append(row)
        elif row.answer in ANSWERS:
            settled[row.client_id, row.asked_at] = row.answer
    found: dict[int, list[Asked]] = defaultdict(list)
    for row in asked:
        answer = row.answer
        if answer == "unknown":
            answer = settled.get((row.client_id, row.answered_at))
        since = row.since or row.local_date
        period = Asked(since, row.local_date, answer in ANSWERS, answer == "yes")
        found[row.client_id].append(period)
    return found


def followed(
    session: Session, clients: Sequence[Client], first: date, end: date
) -> dict[int, Followed]:
    """Each client who got texts between these dates, followed as long as they did."""
    asked = asked_of(session, [client.id for client in clients])
    falls = falls_of(session, clients, datetime.combine(first, time(), UTC))
    found = {}
    for client in clients:
        begins, ends = got_texts(client)
        begins, ends = max(first, begins), min(end, ends)
        if begins < ends:
            theirs = falls.get(client.id, ())
            found[client.id] = follow(theirs, asked.get(client.id, ()), begins, ends)
    return found


def got_texts(client: Client) -> tuple[date, date]:
    """The client's dates from agreeing to texts up to, not with, the day after they ended."""
    zone = zone_named(client.time_zone)
    if client.consent_at is None:
        return date.max, date.max
    ends = date.max
    if client.state == "stopped":
        ends = client.state_since.astimezone(zone).date() + timedelta(days=1)
    return client.consent_at.astimezone(zone).date(), ends
