"""The second phones of a client, as a fact: read, stored, and what a change of them leads to.

Harm told from one counts as the client's. It gets answers and nothing else.
"""

import re
from collections.abc import Iterator, Mapping
from datetime import datetime

from sqlmodel import Session, select

from rungwise.carriers.phone import to_e164
from rungwise.coach.daily.new_phone import OWN, phones_of, refuse_taken
from rungwise.coach.daily.strangers import LONGEST_WHOSE, belongs_to
from rungwise.errors import ImpossibleValue
from rungwise.store.due import clear_due
from rungwise.store.tables import Client, ClientPhone, Stranger, Trainer

# More than anybody has around them. Common practice, no source.
MOST = 5
SOMEBODY = "somebody close"
FORM = "numbers, each with whose it is, parted by a line or ;, such as 202 555 0119 daughter"
_ENTRY = re.compile(r"([+(]?\d[\d\s().+/-]*)[,:]?\s*(.*)")


def read_phones(words: str, country: str) -> dict[str, str]:
    """Whose each phone is, by number in E.164. ImpossibleValue for what is no such list."""
    found: dict[str, str] = {}
    for entry in re.split(r"[;\n]", words):
        if not entry.strip():
            continue
        parts = _ENTRY.fullmatch(entry.strip())
        if parts is None:
            raise ImpossibleValue("second phones", entry.strip(), FORM)
        phone = to_e164(parts[1], country)
        found[phone] = " ".join(parts[2].split())[:LONGEST_WHOSE] or SOMEBODY
    if len(found) > MOST:
        raise ImpossibleValue("second phones", f"{len(found)} phones", f"{MOST} at most")
    if OWN in found.values():
        raise ImpossibleValue(
            "second phones", OWN, "somebody else's: their own is the mobile phone"
        )
    return found


def held_phones(session: Session, client: Client) -> dict[str, str]:
    """Whose each second phone is; a new phone of the client's that is only asked is none."""
    return {row.phone: row.whose for row in _rows(session, client)}


def _rows(session: Session, client: Client) -> list[ClientPhone]:
    return [row for row in phones_of(session, client.id) if row.whose != OWN]


def refuse_phones(session: Session, client: Client, phones: Mapping[str, str]) -> None:
    """ImpossibleValue for a phone that somebody else has, or that is asked whether it is theirs."""
    for phone in sorted(phones.keys() - held_phones(session, client).keys()):
        refuse_taken(session, client, phone)
        if phone in {row.phone for row in phones_of(session, client.id)}:
            allowed = "another one: this is asked whether it is theirs. Take that back first"
            raise ImpossibleValue("second phones", phone, allowed)


def phones_follow(session: Session, client: Client, phones: Mapping[str, str]) -> Iterator[str]:
    """What a change to these phones means, in sentences."""
    held = held_phones(session, client)
    for phone in sorted(phones.keys() - held.keys()):
        yield (
            f"{phone} ({phones[phone]}): harm told from it counts as {client.called}'s. It gets "
            f"answers and nothing else."
        )
        if _stranger(session, client, phone) is not None:
            yield f"{phone} has texted as an unknown number: what it told of harm counts now."
    for phone in sorted(held.keys() - phones.keys()):
        yield f"{phone} is a second phone no more: its texts come as from an unknown number."


def set_phones(
    session: Session, now: datetime, by: Trainer, client: Client, phones: Mapping[str, str]
) -> None:
    """Make these the client's second phones."""
    rows = {row.phone: row for row in _rows(session, client)}
    for phone in rows.keys() - phones.keys():
        if rows[phone].asked_at is not None:
            clear_due(session, "new_phone", client.id)
        session.delete(rows[phone])
    for phone in rows.keys() & phones.keys():
        rows[phone].whose = phones[phone]
        session.add(rows[phone])
    session.flush()
    for phone in sorted(phones.keys() - rows.keys()):
        stranger = _stranger(session, client, phone)
        if stranger is not None:
            belongs_to(session, now, by, stranger, client, phones[phone])
            continue
        session.add(
            ClientPhone(
                practice_id=client.practice_id,
                client_id=client.id,
                phone=phone,
                whose=phones[phone],
                added_by=by.id,
                added_at=now,
            )
        )
    session.flush()


def _stranger(session: Session, client: Client, phone: str) -> Stranger | None:
    """This phone as an unknown number that nobody has dealt with."""
    rows = select(Stranger).where(
        Stranger.practice_id == client.practice_id, Stranger.phone == phone
    )
    return session.exec(rows).first()
