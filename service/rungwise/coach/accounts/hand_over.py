"""Clients go to a colleague, with their open alerts; who leaves can then be shut out."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256

from sqlmodel import Session, col, func, select

from rungwise.coach.accounts.trainers import colleague, set_active
from rungwise.coach.alerting.duty import whom_to_page
from rungwise.coach.alerting.incidents import grew
from rungwise.coach.alerting.paging import say_on
from rungwise.coach.record.access import OnlyTheLead
from rungwise.coach.record.audit import record
from rungwise.concepts.alert_kinds import Urgency
from rungwise.errors import EditedMeanwhile, ImpossibleValue, NotFound
from rungwise.store.tables import Alert, ApiToken, Client, Duty, Practice, Trainer


@dataclass(frozen=True, slots=True)
class HandOver:
    """Whose clients go to whom, and what goes with them; nothing has happened yet.

    `open_alerts` are the alerts nobody has handled, by client. `remaining` counts the clients that
    stay; `programs` and `duty_hours` what acts for the giver, and the stretches of the duty plan
    that name them.
    """

    giver: Trainer
    to: Trainer
    clients: tuple[Client, ...]
    open_alerts: dict[int, list[Alert]]
    remaining: int
    programs: int
    duty_hours: int

    @property
    def alerts(self) -> int:
        return sum(len(alerts) for alerts in self.open_alerts.values())

    @property
    def urgent(self) -> int:
        return sum(one.urgency == Urgency.URGENT for of in self.open_alerts.values() for one in of)

    @property
    def seen(self) -> str:
        """Tells whether what is done is what was looked at."""
        told: list[object] = [self.giver.id, self.to.id, self.remaining]
        told += [(one.id, one.version) for one in self.clients]
        told += sorted((alert.id, alert.state) for of in self.open_alerts.values() for alert in of)
        return sha256(repr(told).encode()).hexdigest()[:32]


def receivers(session: Session, giver: Trainer) -> list[Trainer]:
    """Who can take this trainer's clients: everybody else of the practice who can sign in."""
    return [one for one in able(session, giver.practice_id) if one.id != giver.id]


def able(session: Session, practice_id: int) -> list[Trainer]:
    """The trainers of the practice who can sign in, by name."""
    rows = select(Trainer).where(Trainer.practice_id == practice_id, col(Trainer.active).is_(True))
    return sorted(session.exec(rows).all(), key=lambda one: one.name)


def receiver(session: Session, by: Trainer, to_id: int) -> Trainer:
    """A trainer of the same practice who can sign in; ImpossibleValue otherwise."""
    to = session.get(Trainer, to_id)
    if to is None or to.practice_id != by.practice_id or not to.active:
        allowed = "a trainer of the practice who can sign in"
        raise ImpossibleValue("colleague", to.name if to else "nobody", allowed)
    return to


def look_at_hand_over(
    session: Session, by: Trainer, giver_id: int, to_id: int, client_ids: Sequence[int] | None
) -> HandOver:
    """What handing over these clients of the giver, or all for None, would mean."""
    giver = colleague(session, by, giver_id)
    to = receiver(session, by, to_id)
    if to.id == giver.id:
        raise ImpossibleValue("colleague", to.name, "somebody else")
    theirs = session.exec(select(Client).where(Client.trainer_id == giver.id)).all()
    wanted = None if client_ids is None else set(client_ids)
    chosen = [one for one in theirs if wanted is None or one.id in wanted]
    if wanted is not None and len(chosen) < len(wanted):
        raise NotFound(f"Not all of these are clients of {giver.name}. Choose again.")
    tokens = select(func.count(col(ApiToken.id))).where(
        ApiToken.trainer_id == giver.id, col(ApiToken.revoked_at).is_(None)
    )
    duties = select(func.count(col(Duty.id))).where(Duty.trainer_id == giver.id)
    return HandOver(
        giver,
        to,
        tuple(sorted(chosen, key=lambda one: one.name)),
        _open_alerts(session, [one.id for one in chosen]),
        len(theirs) - len(chosen),
        session.exec(tokens).one(),
        session.exec(duties).one(),
    )


def _open_alerts(session: Session, client_ids: Sequence[int]) -> dict[int, list[Alert]]:
    rows = select(Alert).where(col(Alert.client_id).in_(client_ids), Alert.state != "handled")
    found: dict[int, list[Alert]] = {}
    for alert in session.exec(rows.order_by(col(Alert.id))).all():
        found.setdefault(alert.client_id, []).append(alert)
    return found


def hand_over(
    session: Session, now: datetime, by: Trainer, clients: Sequence[Client], to: Trainer
) -> int:
    """Make `to` the trainer of these clients, and their open alerts unseen; how many moved.

    A trainer may hand over their own clients, a lead everybody's. An urgent alert pages `to`, if
    they were not to be paged about it before. Nothing of plans, rungs or texts changes.
    """
    receiver(session, by, to.id)
    moved: list[Client] = []
    for client in sorted(clients, key=lambda one: one.id):
        session.refresh(client, with_for_update={"key_share": True})
        mine = client.practice_id == by.practice_id
        if not mine or (by.role != "lead" and client.trainer_id != by.id):
            raise OnlyTheLead
        if client.trainer_id != to.id:
            moved.append(client)
    alerts = _open_alerts(session, [client.id for client in moved])
    practice = session.get_one(Practice, by.practice_id)
    for client in moved:
        _move(session, now, by, practice, client, to, alerts.get(client.id, []))
    session.flush()
    return len(moved)


def _move(
    session: Session,
    now: datetime,
    by: Trainer,
    practice: Practice,
    client: Client,
    to: Trainer,
    alerts: Sequence[Alert],
) -> None:
    giver = session.get_one(Trainer, client.trainer_id)
    urgent = [alert for alert in alerts if alert.urgency == Urgency.URGENT]
    before = _paged(session, now, practice, client) if urgent else []
    client.trainer_id = to.id
    client.version += 1
    session.add(client)
    record(
        session,
        now,
        by,
        "handed over",
        client_id=client.id,
        from_trainer=giver.id,
        to_trainer=to.id,
    )
    say_on(session, alerts, f"Handed over by {giver.name} to {to.name}.")
    for alert in alerts:
        alert.state = "new"  # whoever opened it before need not be who takes it on
        session.add(alert)
    if urgent and set(_paged(session, now, practice, client)) - set(before):
        for alert in urgent:
            grew(session, now, practice, client, alert, anew=True)


def _paged(session: Session, now: datetime, practice: Practice, client: Client) -> list[int]:
    return [trainer.id for trainer in whom_to_page(session, now, practice, client)]


def hand_over_as_seen(
    session: Session, now: datetime, by: Trainer, looked: HandOver, seen: str, *, closes: bool
) -> None:
    """Do what was looked at; EditedMeanwhile if it is something else by now.

    With `closes` the giver's sign-in is closed too, once nobody is left to them.
    """
    if looked.seen != seen:
        raise EditedMeanwhile
    hand_over(session, now, by, looked.clients, looked.to)
    if closes:
        set_active(session, now, by, looked.giver, active=False)
