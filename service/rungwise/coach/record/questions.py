"""What the client was asked and has not answered, and the context a reply is read in."""

from datetime import date, datetime, timedelta

from sqlalchemy import update
from sqlmodel import Session, col, select

from rungwise.coach.record.situation import Situation
from rungwise.reply.reading import Asked, Context, Reading
from rungwise.store.deferred_inserts import insert_later
from rungwise.store.due import clear_due, set_due
from rungwise.store.idempotent_inserts import insert_row
from rungwise.store.prefetch import known
from rungwise.store.tables import Client, Message, Question

DOUBTS = ("fall_yes_no", "pain_yes_no", "dizzy_yes_no")
SAFETY = (*DOUBTS, "hurt", "pain_score")
# The text that asks each of them.
TEXT_OF = {
    "fall_yes_no": "ask_fall",
    "pain_yes_no": "ask_pain",
    "dizzy_yes_no": "ask_dizzy",
    "hurt": "ask_hurt",
    "pain_score": "ask_pain_score",
}
# A question about the day's numbers is stale by the next day; one about a fall never is.
STALE_AFTER = timedelta(hours=20)
# A doubt that nobody answers becomes urgent after this.
DOUBT_WAITS = timedelta(minutes=30)


def open_questions(session: Session, client_id: int) -> list[Question]:
    read_before = known(session, Question, client_id)
    if read_before is not None:
        return list(read_before)
    rows = (
        select(Question)
        .where(Question.client_id == client_id, col(Question.answered_at).is_(None))
        .order_by(col(Question.id).desc())
    )
    return list(session.exec(rows).all())


def current_question(session: Session, now: datetime, client_id: int) -> Question | None:
    """The latest open question; those about safety come first."""
    questions = open_questions(session, client_id)
    for question in questions:
        if question.kind in SAFETY:
            return question
    fresh = [question for question in questions if now - question.asked_at < STALE_AFTER]
    return fresh[0] if fresh else None


def open_doubt(session: Session, client_id: int) -> Question | None:
    """The yes/no question about a fall, pain or dizziness that waits for its answer."""
    doubts = (each for each in open_questions(session, client_id) if each.kind in DOUBTS)
    return next(doubts, None)


def date_answered(session: Session, message: Message) -> date | None:
    """The date of the question that this text answered, if it answered one."""
    if message.client_id is not None and known(session, Question, message.client_id) == []:
        return None  # nothing was open when it came
    rows = select(col(Question.local_date)).where(
        Question.client_id == message.client_id, Question.answer_id == message.id
    )
    return session.exec(rows).first()


def safety_asked_since(session: Session, message: Message) -> bool:
    rows = select(Question.id).where(
        Question.client_id == message.client_id,
        col(Question.kind).in_(SAFETY),
        Question.asked_at >= message.created_at,
    )
    return session.exec(rows).first() is not None


def ask(session: Session, now: datetime, client_id: int, kind: Asked, day: date) -> None:
    """Remember that this was asked. A doubt gets a time by which it must be answered."""
    for question in open_questions(session, client_id):
        if question.kind == kind:
            return
        if question.kind not in SAFETY:
            question.answered_at = now
            session.add(question)
    values = {"client_id": client_id, "kind": kind, "local_date": day, "asked_at": now}
    if kind in DOUBTS:
        question_id = insert_row(session, Question, values)
        set_due(session, "doubt", question_id, now + DOUBT_WAITS)
    else:
        insert_later(session, Question, values)


def answered(session: Session, now: datetime, question: Question, message: Message) -> None:
    question.answered_at = now
    question.answer_id = message.id
    session.add(question)
    session.flush()
    clear_due(session, "doubt", question.id)


def close_all(session: Session, now: datetime, client_id: int) -> None:
    """The trainer has dealt with it, or the client stopped: nothing is waited for any more."""
    for question in open_questions(session, client_id):
        clear_due(session, "doubt", question.id)
    session.execute(
        update(Question)
        .where(col(Question.client_id) == client_id, col(Question.answered_at).is_(None))
        .values(answered_at=now)
    )


def reminder_needless(session: Session, client_id: int) -> None:
    """The client has answered: no reminder this evening."""
    clear_due(session, "reminder", client_id)


def context_for(
    session: Session, now: datetime, situation: Situation | None, client: Client
) -> Context:
    """What the reader should know when it reads this client's text."""
    if situation is None:
        return Context(language=client.language)
    question = current_question(session, now, client.id)
    rung = situation.rung
    asked: Asked = question.kind if question else "result"  # type: ignore[assignment]
    return Context(
        target_s=situation.settings.target_s,
        sided=len(rung.sides) > 1,
        leads=rung.sides,
        asked=asked,
        language=client.language,
    )


def answers_something(reading: Reading, context: Context) -> bool:
    """Whether a text that is no result of its own still answers what was asked."""
    if context.asked in DOUBTS:
        return reading.yes_no is not None
    told = bool(reading.holds) or reading.steadiness is not None
    return told or reading.same_as_before or reading.effort is not None
