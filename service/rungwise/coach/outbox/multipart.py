"""Long texts that a gateway passes on part by part: kept until whole, then read as one.

Parts come in any order, and some never. What has come is then read without them, for a text that
tells of a fall must not wait for its last third.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import ColumnElement, and_
from sqlmodel import Session, col, select

from rungwise.carriers.base import InboundText, Part
from rungwise.store.database import one_at_a_time
from rungwise.store.due import clear_due, set_due
from rungwise.store.idempotent_inserts import insert_once
from rungwise.store.tables import InboundPart

WAITS = timedelta(seconds=60)
# A gateway that repeats a part under another id does so within this.
REPEATED_WITHIN = timedelta(minutes=10)
GAP = " … "


@dataclass(frozen=True, slots=True)
class Joined:
    """A text put together, and the parts it was made of. `whole` is False when some are missing."""

    text: InboundText
    parts: tuple[InboundPart, ...]
    whole: bool


def keep_part(
    session: Session, now: datetime, carrier: str, inbound: InboundText, part: Part
) -> Iterator[Joined]:
    """Store one part; gives what is now ready to be read, at most two texts."""
    # Two processes that each get one half must not both wait for the other.
    one_at_a_time(session, f"parts:{inbound.from_phone}")
    mine = _store(session, now, carrier, inbound, part)
    if mine is None or _is_repeat(session, mine):
        return
    others = _together(session, mine)
    if any(other.number == mine.number for other in others):
        # References come again: this begins another text, so the earlier one gets no more.
        yield _join(session, others)
        others = []
    parts = [*others, mine]
    if len(parts) == mine.total:
        yield _join(session, parts)
    elif not others:
        set_due(session, "parts", mine.id, now + WAITS)


def join_what_came(session: Session, part_id: int) -> Joined | None:
    """The time for the rest is up: the text as far as it has come."""
    first = session.get_one(InboundPart, part_id)
    if first.message_id is not None:
        return None
    return _join(session, [*_together(session, first), first])


def _store(
    session: Session, now: datetime, carrier: str, inbound: InboundText, part: Part
) -> InboundPart | None:
    values = {
        "carrier": carrier,
        "carrier_id": inbound.carrier_id,
        "from_phone": inbound.from_phone,
        "to_phone": inbound.to_phone,
        "reference": part.reference,
        "total": part.total,
        "number": part.number,
        "body": inbound.body,
        "at": now,
    }
    return insert_once(session, InboundPart, ["carrier", "carrier_id"], values)


def _is_repeat(session: Session, mine: InboundPart) -> bool:
    """Whether the same part came lately under another id; then it belongs where that one went."""
    rows = select(InboundPart).where(
        _same_text(mine),
        InboundPart.number == mine.number,
        col(InboundPart.at) > mine.at - REPEATED_WITHIN,
    )
    found = session.exec(rows.order_by(col(InboundPart.id))).all()
    # Compared here, for the database may hold the words sealed.
    twin = next((part for part in found if part.body == mine.body), None)
    if twin is None:
        return False
    if twin.message_id is None:
        session.delete(mine)
    else:
        mine.message_id = twin.message_id
        session.add(mine)
    return True


def _same_text(mine: InboundPart) -> ColumnElement[bool]:
    return and_(
        col(InboundPart.id) != mine.id,
        col(InboundPart.carrier) == mine.carrier,
        col(InboundPart.from_phone) == mine.from_phone,
        col(InboundPart.to_phone) == mine.to_phone,
        col(InboundPart.reference) == mine.reference,
        col(InboundPart.total) == mine.total,
    )


def _together(session: Session, mine: InboundPart) -> list[InboundPart]:
    """The other parts of the same text that have come and were not read yet."""
    rows = select(InboundPart).where(_same_text(mine), col(InboundPart.message_id).is_(None))
    return list(session.exec(rows.order_by(col(InboundPart.id))).all())


def _join(session: Session, parts: Sequence[InboundPart]) -> Joined:
    first = min(parts, key=lambda part: part.id)
    clear_due(session, "parts", first.id)
    by_number = {part.number: part.body for part in parts}
    body = "".join(by_number.get(number, GAP) for number in range(1, first.total + 1))
    text = InboundText(f"joined:{first.id}", first.from_phone, first.to_phone, body)
    return Joined(text, tuple(parts), len(by_number) == first.total)
