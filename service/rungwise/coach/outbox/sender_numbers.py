"""Which number a text leaves by: a client stays on one, and the next is used when it is down."""

from collections.abc import Set
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlmodel import Session, col, select

from rungwise.carriers.email import EMAIL
from rungwise.carriers.phone import same_phone
from rungwise.store.salvage import salvage, salvage_one
from rungwise.store.tables import QUEUED, Circuit, Client, ClientPhone, Message, Number, Practice

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


def practice_at(session: Session, phone: str) -> Practice | None:
    """The practice that owns the number; with one practice, a number we don't know is its too.

    None when there are several and it is none of theirs.
    """
    # Some gateways leave the plus away.
    written = (phone, f"+{phone}")
    found = session.exec(select(Practice.id).where(col(Practice.phone).in_(written))).first()
    if found is None:
        owned = select(Number.practice_id).where(col(Number.phone).in_(written))
        found = session.exec(owned).first()
    if found is None:
        all_of_them = session.exec(select(Practice.id).limit(2)).all()
        if len(all_of_them) > 1:
            return None
        found = all_of_them[0]
    return salvage_one(session, Practice, found).row


def first_practice(session: Session) -> Practice:
    """The practice of whoever runs the installation, for what is nobody's."""
    found = session.exec(select(Practice.id).order_by(col(Practice.id)).limit(1)).one()
    return salvage_one(session, Practice, found).row


def practices_of_sender(session: Session, phone: str) -> list[Practice]:
    """The practices that have a client with this phone, their own or a second one."""
    countries = session.exec(select(Practice.country).distinct()).all()
    written = sorted({same_phone(phone, country) for country in countries})
    own = select(Client.practice_id).where(col(Client.phone).in_(written))
    second = select(ClientPhone.practice_id).where(col(ClientPhone.phone).in_(written))
    ids = {*session.exec(own).all(), *session.exec(second).all()}
    return [each.row for each in salvage(session, Practice, sorted(ids))]


def reroute(session: Session, now: datetime, set_up: Set[str], urgent: Set[str]) -> int:
    """Move what waits for a carrier that is down to the practice's next number; how many moved.

    Kinds in `urgent` move at once, others when the carrier has been down for PATIENCE or is not
    set up at all. Only what is queued moves: that is surely not on its way, or may go twice.
    """
    moved = 0
    missing = _not_set_up(session, set_up)
    down = _down(session)
    for (carrier, practice_id), since in {**dict.fromkeys(missing), **down}.items():
        patient = since is not None and now - since < PATIENCE
        for message in _waiting_for(session, carrier, practice_id):
            if patient and message.kind not in urgent:
                continue
            numbers = numbers_in_order(session, practice_id)
            broken = {name for name, whose in (*down, *missing) if whose == practice_id}
            usable = [each for each in numbers if each.carrier in set_up - broken]
            if usable:
                message.carrier, message.from_phone = usable[0].carrier, usable[0].phone
                if not message.maybe_taken:
                    message.not_before = min(message.not_before or now, now)
                session.add(message)
                moved += 1
    return moved


def _down(session: Session) -> dict[tuple[str, int], datetime | None]:
    """The carriers whose circuit is open, with the practice, and since when.

    What goes by e-mail has an address where texts have a number, so it moves nowhere.
    """
    rows = select(Circuit.carrier, Circuit.practice_id, Circuit.down_since).where(
        col(Circuit.down_since).is_not(None), Circuit.carrier != EMAIL
    )
    return {(carrier, whose): since for carrier, whose, since in session.exec(rows).all()}


def _not_set_up(session: Session, set_up: Set[str]) -> list[tuple[str, int]]:
    """Carriers that a practice has a number of and that are not set up, with the practice."""
    first = session.exec(select(Practice.carrier, Practice.id)).all()
    further = session.exec(select(Number.carrier, Number.practice_id)).all()
    return sorted({each for each in (*first, *further) if each[0] not in set_up})


def _waiting_for(session: Session, carrier: str, practice_id: int) -> list[Message]:
    rows = (
        select(Message.id)
        .where(QUEUED, Message.carrier == carrier, Message.practice_id == practice_id)
        .order_by(col(Message.rank), col(Message.id))
        .limit(MOST_AT_ONCE)
        .with_for_update(skip_locked=True)
    )
    return [each.row for each in salvage(session, Message, session.exec(rows).all())]
