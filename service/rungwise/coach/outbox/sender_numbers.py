"""Which number a text leaves by: a client stays on one, and the next is used when it is down."""

from collections.abc import Sequence, Set
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlmodel import Session, col, select

from rungwise.carriers.email import EMAIL
from rungwise.coach.outbox.circuit import FAILURES_TO_OPEN
from rungwise.store.tables import QUEUED, CarrierState, Client, Message, Number, Practice

# A text from an unfamiliar number puzzles a client, so it must be worth it.
PATIENCE = timedelta(minutes=5)
MOST_AT_ONCE = 500


@dataclass(frozen=True, slots=True)
class From:
    """A number, and the carrier it belongs to."""

    carrier: str
    phone: str


def first_number(practice: Practice) -> From:
    return From(practice.carrier, practice.phone)


def number_of(session: Session, practice: Practice, client: Client) -> From:
    """The number that this client's texts come from."""
    number = session.get(Number, client.number_id) if client.number_id is not None else None
    return first_number(practice) if number is None else From(number.carrier, number.phone)


def numbers_in_order(session: Session, practice_id: int) -> list[From]:
    """All numbers of a practice, the first one first."""
    practice = session.get_one(Practice, practice_id)
    rows = select(Number).where(Number.practice_id == practice_id)
    further = session.exec(rows.order_by(col(Number.place), col(Number.id))).all()
    return [first_number(practice), *(From(each.carrier, each.phone) for each in further)]


def practice_at(session: Session, phone: str) -> Practice:
    """The practice that owns the number; with one practice, a number we don't know is its too."""
    # Some gateways leave the plus away.
    written = (phone, f"+{phone}")
    found = session.exec(select(Practice).where(col(Practice.phone).in_(written))).first()
    if found is None:
        owned = select(Practice).join(Number, col(Number.practice_id) == col(Practice.id))
        found = session.exec(owned.where(col(Number.phone).in_(written))).first()
    if found is not None:
        return found
    return session.exec(select(Practice).order_by(col(Practice.id)).limit(1)).one()


def reroute(session: Session, now: datetime, set_up: Set[str], urgent: Set[str]) -> int:
    """Move what waits for a carrier that is down to the practice's next number; how many moved.

    Kinds in `urgent` move at once, others when the carrier has been down for PATIENCE or is not
    set up at all. Only what is queued moves: that is surely not on its way, or may go twice.
    """
    # What goes by e-mail has an address where texts have a number.
    down = {name: since for name, since in _down(session, set_up).items() if name != EMAIL}
    moved = 0
    for carrier, since in down.items():
        patient = since is not None and now - since < PATIENCE
        for message in _waiting_for(session, carrier):
            if patient and message.kind not in urgent:
                continue
            numbers = numbers_in_order(session, message.practice_id)
            usable = [each for each in numbers if each.carrier in set_up - down.keys()]
            if usable:
                message.carrier, message.from_phone = usable[0].carrier, usable[0].phone
                message.not_before = min(message.not_before or now, now)
                session.add(message)
                moved += 1
    return moved


def _down(session: Session, set_up: Set[str]) -> dict[str, datetime | None]:
    """Carriers that can't be used, and since when; None for those that are not set up."""
    named = {
        *session.exec(select(Practice.carrier).distinct()).all(),
        *session.exec(select(Number.carrier).distinct()).all(),
    }
    rows = select(CarrierState).where(CarrierState.failures >= FAILURES_TO_OPEN)
    open_now = {state.name: state.down_since for state in session.exec(rows).all()}
    return open_now | dict.fromkeys(named - set_up)


def _waiting_for(session: Session, carrier: str) -> Sequence[Message]:
    rows = (
        select(Message)
        .where(QUEUED, Message.carrier == carrier)
        .order_by(col(Message.rank), col(Message.id))
        .limit(MOST_AT_ONCE)
        .with_for_update(skip_locked=True)
    )
    return session.exec(rows).all()
