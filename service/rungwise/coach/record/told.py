"""What a trainer enters among a client's texts: a day told otherwise, and a reading put right.

Each is a row of the texts whose direction is `told`: it never left and never came by a carrier. It
has the words that the trainer wrote and a reading, so a day's report is folded from it as from a
text, and everything that is kept, sealed, taken out or erased of texts is of it too.
"""

from collections.abc import Collection, Mapping
from typing import Any

from sqlmodel import Session, col, select

from rungwise.store.tables import Message

TOLD = "told"
PHONE, VISIT, CORRECTION = "phone", "visit", "correction"
WAYS = (PHONE, VISIT)
# How far back a day may be entered, and a reading put right.
WITHIN_DAYS = 14


def corrections_of(session: Session, ids: Collection[int]) -> Mapping[int, Message]:
    """The last correction of each of these texts that has one."""
    rows = select(Message).where(
        col(Message.answers_id).in_(ids), Message.direction == TOLD, Message.kind == CORRECTION
    )
    found = session.exec(rows.order_by(col(Message.id))).all()
    return {row.answers_id: row for row in found if row.answers_id is not None}


def as_corrected(
    session: Session, readings: Mapping[int, Mapping[str, Any] | None]
) -> dict[int, Mapping[str, Any] | None]:
    """The readings of texts by id, each as it was put right where it was."""
    right = {number: row.reading for number, row in corrections_of(session, readings).items()}
    return {**readings, **right}
