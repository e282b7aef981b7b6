"""Who may see or change what: a trainer their own clients, the lead the practice."""

from sqlmodel import Session, select

from rungwise.errors import NotFound, ServiceError
from rungwise.store.tables import Client, Trainer


class OnlyTheLead(ServiceError):
    """Only the practice lead can change this. Ask them."""


def require_lead(trainer: Trainer) -> None:
    if trainer.role != "lead":
        raise OnlyTheLead


def clients_of(session: Session, trainer: Trainer) -> list[Client]:
    """The clients this trainer may see: their own, or the whole practice for its lead."""
    rows = select(Client).where(Client.practice_id == trainer.practice_id)
    if trainer.role != "lead":
        rows = rows.where(Client.trainer_id == trainer.id)
    # Sorted here, for the database may hold the names sealed.
    return sorted(session.exec(rows).all(), key=lambda client: client.name)


def client_of(session: Session, trainer: Trainer, client_id: int) -> Client:
    """One client this trainer may see; NotFound otherwise, whether or not there is such a one."""
    client = session.get(Client, client_id)
    mine = client is not None and client.practice_id == trainer.practice_id
    if client is None or not mine or (trainer.role != "lead" and client.trainer_id != trainer.id):
        raise NotFound("There is no such client among yours.")
    return client
