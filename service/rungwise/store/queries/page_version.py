"""A few letters that change when what a page shows has changed, for pages kept open."""

from hashlib import sha256

from sqlalchemy import func, select
from sqlmodel import Session, col

from rungwise.store.queries.banner_counts import Scope
from rungwise.store.tables import Alert, Client, Message


def of_alerts(session: Session, scope: Scope) -> str:
    """Changes with every alert opened, added to, seen, handled or opened again."""
    rows = (
        select(
            func.count(col(Alert.id)),
            func.count(col(Alert.id)).filter(col(Alert.state) == "new"),
            func.max(col(Alert.last_at)),
            func.max(col(Alert.seen_at)),
            func.max(col(Alert.paged_at)),
        )
        .join(Client, col(Client.id) == col(Alert.client_id))
        .where(
            col(Alert.practice_id) == scope.practice_id,
            col(Alert.state).in_(("new", "seen")),
            scope.clients,
        )
    )
    return _short(session.execute(rows).one())


def of_texts(session: Session, client_id: int) -> str:
    """Changes with every text to or from the client, and with what becomes of one."""
    rows = select(
        func.count(col(Message.id)),
        func.max(col(Message.id)),
        func.max(col(Message.sent_at)),
        func.max(col(Message.settled_at)),
    ).where(col(Message.client_id) == client_id)
    return _short(session.execute(rows).one())


def _short(values: object) -> str:
    return sha256(repr(values).encode()).hexdigest()[:16]
