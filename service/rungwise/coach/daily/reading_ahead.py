"""What dealing with the replies of several clients will ask the database, asked once for all."""

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta

from sqlalchemy import Text, cast
from sqlalchemy.orm import defer
from sqlmodel import Session, SQLModel, col, select

from rungwise.coach.daily.prompt import PROMPTED, once_key, prompted_of
from rungwise.coach.outbox.texts import find_new_keys
from rungwise.coach.record.situation import (
    LEFT,
    PASTS,
    PASTS_FROM,
    PLAN_TEXTS,
    REPORTS_SINCE,
    PlanText,
    read_pasts,
)
from rungwise.coach.record.wording import wording_of
from rungwise.store.due import READ_AHEAD
from rungwise.store.prefetch import About, Ahead
from rungwise.store.queries.current_plan import PRESENT
from rungwise.store.tables import (
    Client,
    Due,
    Message,
    MoveRow,
    Placement,
    PlanRow,
    Question,
    Report,
)

# Further back than any date a reply without a question can be about.
REPORTS_FROM = timedelta(days=4)
ABOUT: Mapping[type[SQLModel], About] = {
    Question: About("client_id"),
    Report: About("client_id"),
    # Of the texts, the latest day's text: no change of one that came in changes which that is.
    Message: About("client_id", lambda message: message.direction == "out"),
    PlanRow: About("client_id"),
    Placement: About("client_id"),
    MoveRow: About("client_id"),
    Due: About("subject_id"),
}


def read_ahead(session: Session, now: datetime, clients: Sequence[Client]) -> Ahead:
    """Know these clients' plans, open questions, latest prompts, reports, due times and pasts.

    The clients must be locked.
    """
    ahead = Ahead(session, ABOUT)
    if not clients:
        return ahead
    ids = sorted(client.id for client in clients)
    _know_plans(session, ahead, ids)
    _know_questions(session, ahead, ids)
    _know_reports(session, now, ahead, ids)
    _know_due_times(session, ahead, ids)
    _know_latest(session, ahead, ids)
    ahead.keep(PASTS, PASTS_FROM, read_pasts(session, ids))
    # The session keeps them. Asked for later, they would have what waits written before them.
    for practice_id, language in sorted({(each.practice_id, each.language) for each in clients}):
        wording_of(session, practice_id, language)
    return ahead


def _know_plans(session: Session, ahead: Ahead, ids: Sequence[int]) -> None:
    as_stored = (cast(col(PlanRow.settings), Text), cast(col(PlanRow.profile), Text))
    here = select(Placement, PlanRow, *as_stored).join(PlanRow, PRESENT)
    # What is stored alike is read once, so the two values are not taken apart for each row.
    left = (defer(PlanRow.settings), defer(PlanRow.profile))  # type: ignore[arg-type]
    rows = here.where(col(Placement.client_id).in_(ids)).options(*left)
    placed = session.exec(rows).all()
    ahead.know(Placement, ids, [placement for placement, *_ in placed])
    ahead.know(PlanRow, ids, [plan for _, plan, *_ in placed])
    texts = {plan.id: PlanText(settings, profile) for _, plan, settings, profile in placed}
    session.info.setdefault(PLAN_TEXTS, {}).update(texts)


def _know_questions(session: Session, ahead: Ahead, ids: Sequence[int]) -> None:
    questions = select(Question).where(
        col(Question.client_id).in_(ids), col(Question.answered_at).is_(None)
    )
    ahead.know(Question, ids, session.exec(questions.order_by(col(Question.id).desc())).all())


def _know_reports(session: Session, now: datetime, ahead: Ahead, ids: Sequence[int]) -> None:
    since = session.info[REPORTS_SINCE] = (now - REPORTS_FROM).date()
    reports = select(Report).where(
        col(Report.client_id).in_(ids),
        col(Report.local_date) >= since,
        col(Report.superseded_at).is_(None),
    )
    ahead.know(Report, ids, session.exec(reports).all())


def _know_due_times(session: Session, ahead: Ahead, ids: Sequence[int]) -> None:
    dues = select(Due).where(col(Due.kind).in_(READ_AHEAD), col(Due.subject_id).in_(ids))
    ahead.know(Due, ids, session.exec(dues).all())


def _know_latest(session: Session, ahead: Ahead, ids: Sequence[int]) -> None:
    latest = (
        select(Message.id)
        .where(Message.client_id == Client.id, *LEFT)
        .order_by(col(Message.id).desc())
        .limit(1)
        .correlate(Client)
        .scalar_subquery()
    )
    prompts = select(Message).where(
        col(Message.id).in_(select(latest).where(col(Client.id).in_(ids)))
    )
    ahead.know(Message, ids, session.exec(prompts).all())


def read_ahead_for_prompts(
    session: Session, now: datetime, clients: Sequence[Client], due: Sequence[Due]
) -> None:
    """The same of what the day's prompts and reminders need, and what only they need."""
    ahead = Ahead(session, ABOUT)
    if not clients:
        return
    ids = sorted(client.id for client in clients)
    _know_plans(session, ahead, ids)
    _know_questions(session, ahead, ids)
    _know_due_times(session, ahead, ids)
    reminded = [row.subject_id for row in due if row.kind == "reminder"]
    if reminded:
        _know_reports(session, now, ahead, reminded)
    keys = [
        once_key("prompt", row.subject_id, row.local_date)
        for row in due
        if row.kind == "prompt" and row.local_date is not None
    ]
    find_new_keys(session, keys)
    session.info[PROMPTED] = prompted_of(session, ids)
    backs = (
        select(MoveRow)
        .join(Placement, col(Placement.client_id) == col(MoveRow.client_id))
        .where(
            col(MoveRow.client_id).in_(ids),
            MoveRow.rule == "away_back",
            col(MoveRow.superseded_at).is_(None),
            col(MoveRow.local_date) >= col(Placement.since),
        )
    )
    ahead.know(MoveRow, ids, session.exec(backs).all())
