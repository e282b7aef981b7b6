"""What a trainer may see, as a condition on queries: their own clients, or the practice's."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import ColumnElement, distinct
from sqlmodel import Session, and_, col, func, or_, select

from rungwise.concepts.client_states import State
from rungwise.store.tables import Alert, AlertPage, Client, LastTick, Message, Trainer, WatchNotice

# Who has begun: what they tell must reach somebody.
GET_TEXTS = (State.ACTIVE, State.RESTING, State.PAUSED)


@dataclass(frozen=True, slots=True)
class Scope:
    """`trainer_id` None means every client of the practice, as its lead sees them."""

    practice_id: int
    trainer_id: int | None

    @classmethod
    def of(cls, trainer: Trainer) -> "Scope":
        return cls(trainer.practice_id, None if trainer.role == "lead" else trainer.id)

    @property
    def clients(self) -> ColumnElement[bool]:
        """The condition on Client."""
        own = col(Client.practice_id) == self.practice_id
        if self.trainer_id is None:
            return own
        return and_(own, col(Client.trainer_id) == self.trainer_id)


@dataclass(frozen=True, slots=True)
class Watch:
    """What every page shows at its head, in clients, as the day has a card for each.

    `open_alerts` counts those with an open alert, `urgent_waiting` those of whom an urgent one is
    unseen or was never paged.

    `failing` is a carrier by which nothing leaves, empty when all work: one of texts before e-mail,
    for where both fail, what must be done about the texts must be said. `untested` are clients who
    get texts though no test page to their trainer was answered.
    """

    open_alerts: int
    urgent_waiting: int
    last_tick: datetime | None
    failing: str = ""
    untested: int = 0


def watch(session: Session, scope: Scope) -> Watch:
    """How many have open alerts, and when the slower of the ticks last ran."""
    # A page that was taken back, because somebody opened the alert, is none that failed.
    taken_back = (
        select(AlertPage.alert_id)
        .join(Message, col(Message.id) == col(AlertPage.message_id))
        .where(AlertPage.alert_id == Alert.id, Message.state == "cancelled")
    )
    unpaged = and_(col(Alert.paged_at).is_(None), ~taken_back.exists())
    waiting = and_(col(Alert.urgency) == "urgent", or_(col(Alert.state) == "new", unpaged))
    rows = (
        select(
            func.count(distinct(col(Alert.client_id))),
            func.count(distinct(col(Alert.client_id))).filter(waiting),
        )
        .join(Client, col(Client.id) == col(Alert.client_id))
        .where(
            col(Alert.practice_id) == scope.practice_id,
            col(Alert.state).in_(("new", "seen")),
            scope.clients,
        )
    )
    open_alerts, urgent_waiting = session.exec(rows).one()
    what = col(WatchNotice.what)
    failing = (
        select(func.coalesce(func.min(what).filter(what != "email"), func.min(what)))
        .where(WatchNotice.practice_id == scope.practice_id, what != "ticks")
        .scalar_subquery()
    )
    untested = (
        select(func.count(col(Client.id)))
        .join(Trainer, col(Trainer.id) == col(Client.trainer_id))
        .where(
            scope.clients,
            col(Client.state).in_(GET_TEXTS),
            col(Trainer.page_answered_at).is_(None),
        )
        .scalar_subquery()
    )
    last_tick, fails, blind = session.exec(select(func.min(LastTick.at), failing, untested)).one()
    return Watch(open_alerts, urgent_waiting, last_tick, fails or "", blind or 0)
