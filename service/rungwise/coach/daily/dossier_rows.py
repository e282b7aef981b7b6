"""What dossiers are made of, each asked of the database once for any number of clients."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TypeVar

from sqlalchemy import Text, cast
from sqlalchemy import select as select_columns
from sqlmodel import Session, col, func, select

from rungwise.coach.conversation.dossier import (
    REPORTS_FROM,
    LastPrompt,
    OpenAlert,
    OpenQuestion,
    Standing,
)
from rungwise.coach.record.codec import report_from_json, settings_in
from rungwise.coach.record.situation import LEFT
from rungwise.concepts.measures import Lengths
from rungwise.ladder.day import DayReport
from rungwise.store.index_conditions import IS_PROMPT
from rungwise.store.queries.current_plan import PRESENT
from rungwise.store.tables import (
    Alert,
    Client,
    Due,
    Message,
    MoveRow,
    Placement,
    PlanRow,
    Question,
    Report,
    Trainer,
)
from rungwise.ticks.due import Due as Moment

Row = TypeVar("Row")
# Of what we sent in this time a phone may quote a text, and courtesy is said once.
LATELY = timedelta(hours=36)


@dataclass(frozen=True, slots=True)
class Sent:
    """One of our latest texts; its words only where they are asked for."""

    id: int
    name: str | None
    rung_key: str | None
    at: datetime
    body: str


@dataclass(frozen=True, slots=True)
class Prompted:
    """The last date that had its prompt, so that a new hour or zone never doubles one; how many
    prompts went since the client's last word; and the rung that the last one told.
    """

    last: date | None = None
    unanswered: int = 0
    last_key: str | None = None


def trainer_names(session: Session, clients: Sequence[Client]) -> Mapping[int, str]:
    rows = select(Trainer.id, Trainer.name).where(
        col(Trainer.id).in_(sorted({client.trainer_id for client in clients}))
    )
    return dict(session.exec(rows).all())


def standings(session: Session, lengths: Mapping[int, Lengths]) -> Mapping[int, Standing]:
    """Where these clients stand, whose practices have these lengths."""
    # As stored text: what is stored alike is read once.
    texts = (cast(col(PlanRow.settings), Text), cast(col(PlanRow.profile), Text))
    here = (col(Placement.client_id), col(Placement.rung_key), col(Placement.since))
    rows = (
        select_columns(*here, *texts)
        .join(PlanRow, PRESENT)
        .where(col(Placement.client_id).in_(sorted(lengths)))
    )
    return {
        client_id: Standing(settings_in(settings), profile, key, since, lengths[client_id])
        for client_id, key, since, settings, profile in session.execute(rows).all()
    }


def went_back(session: Session, ids: Sequence[int]) -> frozenset[int]:
    """Who has moved back for absence since their last placing or practice."""
    backs = (
        select(MoveRow.client_id)
        .join(Placement, col(Placement.client_id) == col(MoveRow.client_id))
        .where(
            col(MoveRow.client_id).in_(ids),
            MoveRow.rule == "away_back",
            col(MoveRow.superseded_at).is_(None),
            col(MoveRow.local_date) >= col(Placement.since),
        )
    )
    return frozenset(session.exec(backs).all())


def asked_of(session: Session, ids: Sequence[int]) -> Mapping[int, tuple[OpenQuestion, ...]]:
    """The open ones, latest first."""
    columns = (
        col(Question.client_id), col(Question.kind), col(Question.local_date),
        col(Question.asked_at), col(Question.unclear), col(Question.id), col(Question.since),
    )  # fmt: skip
    rows = select_columns(*columns).where(
        col(Question.client_id).in_(ids), col(Question.answered_at).is_(None)
    )
    return _by_client(
        (client_id, OpenQuestion(*row))
        for client_id, *row in session.execute(rows.order_by(col(Question.id).desc())).all()
    )


def alerts_of(session: Session, ids: Sequence[int]) -> Mapping[int, tuple[OpenAlert, ...]]:
    rows = select(Alert.client_id, Alert.kind, Alert.urgency, Alert.state).where(
        col(Alert.client_id).in_(ids), Alert.state != "handled"
    )
    return _by_client(
        (client_id, OpenAlert(kind, urgency, state == "seen"))
        for client_id, kind, urgency, state in session.exec(rows.order_by(col(Alert.id))).all()
    )


def _by_client(rows: Iterable[tuple[int | None, Row]]) -> Mapping[int, tuple[Row, ...]]:
    found: dict[int, tuple[Row, ...]] = defaultdict(tuple)
    for client_id, row in rows:
        found[client_id or 0] += (row,)
    return found


def sent_lately(
    session: Session, now: datetime, ids: Sequence[int], *, bodies: bool
) -> Mapping[int, tuple[Sent, ...]]:
    """What left or waits of our latest texts, newest first."""
    columns = [
        col(Message.client_id), col(Message.id), col(Message.name), col(Message.rung_key),
        col(Message.created_at), *([col(Message.body)] if bodies else []),
    ]  # fmt: skip
    rows = (
        select_columns(*columns)
        .where(
            col(Message.client_id).in_(ids),
            col(Message.direction) == "out",
            col(Message.created_at) > now - LATELY,
            col(Message.state).not_in(("missed", "cancelled")),
        )
        .order_by(col(Message.id).desc())
    )
    return _by_client(
        (client_id, Sent(*row, *([] if bodies else [""])))
        for client_id, *row in session.execute(rows).all()
    )


def reports_of(
    session: Session, now: datetime, ids: Sequence[int]
) -> Mapping[int, Mapping[date, DayReport]]:
    columns = (col(Report.client_id), col(Report.local_date), col(Report.told))
    rows = select_columns(*columns).where(
        col(Report.client_id).in_(ids),
        col(Report.local_date) >= (now - REPORTS_FROM).date(),
        col(Report.superseded_at).is_(None),
    )
    found: dict[int, dict[date, DayReport]] = defaultdict(dict)
    for client_id, day, told in session.execute(rows).all():
        found[client_id][day] = report_from_json(told)
    return found


def last_prompts(session: Session, ids: Sequence[int]) -> Mapping[int, tuple[int, LastPrompt]]:
    """The latest day's text that left or may have left, with its number."""
    latest = (
        select(Message.id)
        .where(Message.client_id == Client.id, *LEFT)
        .order_by(col(Message.id).desc())
        .limit(1)
        .correlate(Client)
        .scalar_subquery()
    )
    columns = (
        col(Message.client_id), col(Message.id), col(Message.local_date), col(Message.rung_key),
        col(Message.created_at),
    )  # fmt: skip
    rows = select_columns(*columns).where(
        col(Message.id).in_(select(latest).where(col(Client.id).in_(ids))),
        col(Message.local_date).is_not(None),
    )
    return {
        client_id: (number, LastPrompt(*row))
        for client_id, number, *row in session.execute(rows).all()
    }


def prompted_of(session: Session, client_ids: Sequence[int]) -> Mapping[int, Prompted]:
    """What each of these clients was prompted, in one query."""
    theirs = (Message.client_id == Client.id, IS_PROMPT)
    # Two look-ups and no join: each ends in the index, however many texts there have been.
    last = select(func.max(Message.local_date)).where(*theirs).correlate(Client).scalar_subquery()
    since = func.coalesce(Client.last_reply_at, Client.created_at)
    went = (
        select(func.count(col(Message.id)))
        .where(
            *theirs,
            col(Message.created_at) > since,
            col(Message.state).not_in(("missed", "cancelled")),
        )
        .correlate(Client)
        .scalar_subquery()
    )
    told = (
        select(Message.rung_key)
        .where(*theirs, col(Message.rung_key).is_not(None))
        .order_by(col(Message.local_date).desc())
        .limit(1)
        .correlate(Client)
        .scalar_subquery()
    )
    rows = select(Client.id, last, went, told).where(col(Client.id).in_(client_ids))
    return {client: Prompted(*found) for client, *found in session.exec(rows).all()}


def due_of_clients(session: Session, ids: Sequence[int]) -> Mapping[int, Mapping[str, Moment]]:
    columns = (col(Due.subject_id), col(Due.kind), col(Due.local_date), col(Due.at))
    rows = select_columns(*columns).where(
        col(Due.kind).in_(("prompt", "reminder")),
        col(Due.subject_id).in_(ids),
        col(Due.local_date).is_not(None),
    )
    found: dict[int, dict[str, Moment]] = defaultdict(dict)
    for client_id, kind, day, at in session.execute(rows).all():
        found[client_id][kind] = Moment(day, at)
    return found
