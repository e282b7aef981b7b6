"""What the client was asked and has not answered yet, as it is stored."""

from collections.abc import Collection
from datetime import date, datetime

from sqlalchemy import update
from sqlmodel import Session, col, select

from rungwise.concepts.questions import DOUBTS, PASSING, QUESTIONS, SAFETY
from rungwise.store.deferred_writes import insert_later
from rungwise.store.due import clear_due, set_due
from rungwise.store.idempotent_inserts import insert_row
from rungwise.store.tables import Message, Question


def open_questions(session: Session, client_id: int) -> list[Question]:
    rows = (
        select(Question)
        .where(Question.client_id == client_id, col(Question.answered_at).is_(None))
        .order_by(col(Question.id).desc())
    )
    return list(session.exec(rows).all())


def open_doubt(session: Session, client_id: int) -> Question | None:
    """The yes/no question about a fall, pain or dizziness that waits for its answer."""
    doubts = (each for each in open_questions(session, client_id) if each.kind in DOUBTS)
    return next(doubts, None)


def safety_asked_since(session: Session, message: Message) -> bool:
    rows = select(Question.id).where(
        Question.client_id == message.client_id,
        col(Question.kind).in_(SAFETY),
        Question.asked_at >= message.created_at,
    )
    return session.exec(rows).first() is not None


def ask(
    session: Session,
    now: datetime,
    client_id: int,
    kind: str,
    day: date,
    since: date | None = None,
) -> None:
    """Remember that this was asked. One that waits only so long gets a time to be answered by."""
    values = {
        "client_id": client_id,
        "kind": kind,
        "local_date": day,
        "since": since,
        "asked_at": now,
        "unclear": 0,
    }
    waits = QUESTIONS[kind].waits
    if waits is not None:
        question_id = insert_row(session, Question, values)
        set_due(session, "doubt", question_id, now + waits)
    else:
        insert_later(session, Question, values)


def pass_over(session: Session, now: datetime, client_id: int) -> None:
    """Questions that wait for nobody are no longer waited for: another is asked now."""
    _update(session, client_id, PASSING, answered_at=now)


def close(
    session: Session,
    now: datetime,
    client_id: int,
    kind: str,
    message: Message | None,
    answer: str | None = None,
) -> None:
    """The open question of this kind is answered by this text, or no longer waited for."""
    for question in open_questions(session, client_id) if QUESTIONS[kind].waits else ():
        if question.kind == kind:
            clear_due(session, "doubt", question.id)
    answer_id = message.id if message is not None else None
    _update(session, client_id, {kind}, answered_at=now, answer_id=answer_id, answer=answer)


def unclear(session: Session, client_id: int, kind: str) -> None:
    """An answer to the open question of this kind was none."""
    _update(session, client_id, {kind}, unclear=col(Question.unclear) + 1)


def _update(session: Session, client_id: int, kinds: Collection[str], **values: object) -> None:
    """Change the client's open questions of these kinds."""
    here = (col(Question.client_id) == client_id, col(Question.kind).in_(kinds))
    session.execute(
        update(Question).where(*here, col(Question.answered_at).is_(None)).values(**values)
    )


def close_all(session: Session, now: datetime, client_id: int) -> None:
    """The trainer has dealt with it, or the client stopped: nothing is waited for any more."""
    for question in open_questions(session, client_id):
        clear_due(session, "doubt", question.id)
    session.execute(
        update(Question)
        .where(col(Question.client_id) == client_id, col(Question.answered_at).is_(None))
        .values(answered_at=now)
    )
