"""The trainers of a practice: their phones, roles, and whether they can sign in."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session, col, func, select

from rungwise.carriers.phone import to_e164
from rungwise.coach.accounts.passwords import check_password, hash_of_password
from rungwise.coach.alerting.paging import WAYS
from rungwise.coach.record.access import require_lead
from rungwise.coach.record.audit import record
from rungwise.coach.record.fields import Unfinished, name_or_refuse, sentence
from rungwise.errors import ImpossibleValue, NotFound, ServiceError
from rungwise.store.tables import Client, Practice, Trainer

LONGEST_CONTACT = 80


class LastLead(ServiceError):
    """The practice needs a lead who can sign in. Make somebody else lead first."""


class HasClients(ServiceError):
    """This trainer still has clients, and somebody must be paged about them. Hand them over
    first."""


@dataclass(frozen=True, slots=True)
class Colleague:
    """A trainer with how many clients they have."""

    trainer: Trainer
    clients: int


def colleagues(session: Session, practice: Practice) -> list[Colleague]:
    """Everybody of the practice, those who can sign in first, by name."""
    trainers = session.exec(select(Trainer).where(Trainer.practice_id == practice.id)).all()
    counted = select(Client.trainer_id, func.count(col(Client.id))).where(
        Client.practice_id == practice.id
    )
    clients = dict(session.exec(counted.group_by(col(Client.trainer_id))).all())
    found = [Colleague(one, clients.get(one.id, 0)) for one in trainers]
    return sorted(found, key=lambda one: (not one.trainer.active, one.trainer.name))


def colleague(session: Session, trainer: Trainer, other_id: int) -> Trainer:
    """A trainer whom this one may look up: the lead anybody of the practice, others themselves."""
    other = session.get(Trainer, other_id)
    mine = other is not None and other.practice_id == trainer.practice_id
    if other is None or not mine or (trainer.role != "lead" and other.id != trainer.id):
        raise NotFound("There is no such trainer in your practice.")
    return other


def change_trainer(
    session: Session, now: datetime, lead: Trainer, other: Trainer, given: Mapping[str, str]
) -> None:
    """How a trainer is paged, own phone and second contact; one may change one's own.

    A form without `page_by` leaves that as it is.
    """
    if lead.id != other.id:
        require_lead(lead)
    country = session.get_one(Practice, other.practice_id).country
    problems: dict[str, str] = {}
    phones: dict[str, str | None] = {}
    for name in ("phone", "second_contact_phone"):
        raw = given.get(name, "").strip()
        try:
            phones[name] = to_e164(raw, country, name) if raw else None
        except ServiceError as error:
            problems[name] = sentence(error)
    page_by = given.get("page_by", other.page_by).strip()
    if page_by not in WAYS:
        problems["page_by"] = sentence(ImpossibleValue("page_by", page_by, "text, email or both"))
    contact = given.get("second_contact_name", "").strip()[:LONGEST_CONTACT]
    if phones.get("second_contact_phone") and not contact:
        problems["second_contact_name"] = "Fill in whose phone it is."
    if problems:
        raise Unfinished(problems)
    if (other.phone, other.page_by) != (phones["phone"], page_by):
        # What was answered came another way.
        other.page_test_code = other.page_test_at = other.page_answered_at = None
    other.phone, other.page_by = phones["phone"], page_by
    other.second_contact_phone = phones["second_contact_phone"]
    other.second_contact_name = contact or None
    session.add(other)
    record(session, now, lead, "trainer changed", colleague=other.id, page_by=page_by)


def set_role(session: Session, now: datetime, lead: Trainer, other: Trainer, role: str) -> None:
    """Make a trainer lead, or a lead trainer; LastLead when nobody would be left."""
    require_lead(lead)
    if role not in ("trainer", "lead"):
        raise ImpossibleValue("role", role, "trainer or lead")
    if role == "trainer" and other.role == "lead":
        _refuse_last_lead(session, other)
    other.role = role
    session.add(other)
    record(session, now, lead, "role", colleague=other.id, role=role)


def set_active(
    session: Session, now: datetime, lead: Trainer, other: Trainer, *, active: bool
) -> None:
    """Whether a trainer can sign in. Who still has clients stays, for they are paged about them."""
    require_lead(lead)
    if not active:
        rows = select(Client.id).where(Client.trainer_id == other.id)
        if session.exec(rows.limit(1)).first() is not None:
            raise HasClients
        if other.role == "lead":
            _refuse_last_lead(session, other)
    other.active = active
    session.add(other)
    record(session, now, lead, "may sign in" if active else "may not sign in", colleague=other.id)


def _refuse_last_lead(session: Session, leaving: Trainer) -> None:
    rows = select(Trainer.id).where(
        Trainer.practice_id == leaving.practice_id,
        Trainer.role == "lead",
        col(Trainer.active).is_(True),
        Trainer.id != leaving.id,
    )
    if session.exec(rows.limit(1)).first() is None:
        raise LastLead


def add_trainer(
    session: Session, now: datetime, practice: Practice, name: str, email: str, password: str
) -> Trainer:
    """A trainer who can sign in; PasswordRefused when the password is easy to guess."""
    check_password(password, (name, email))
    trainer = Trainer(
        practice_id=practice.id,
        name=name_or_refuse("name", name),
        email=email.strip().lower(),
        password_hash=hash_of_password(password),
        created_at=now,
    )
    session.add(trainer)
    session.flush()
    return trainer
