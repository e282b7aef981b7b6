"""What was told of a day, text by text, with what a trainer entered and put right."""

from collections.abc import Mapping, Sequence
from typing import Any

from sqlmodel import Session, col, select

from rungwise.coach.record.codec import context_from_json, reading_from_json
from rungwise.coach.record.told import CORRECTION
from rungwise.reply.reading import Asked, Reading
from rungwise.store.tables import Message


def texts_of(session: Session, ids: Sequence[int]) -> list[Message]:
    """These texts and entries, in the order given."""
    found = session.exec(select(Message).where(col(Message.id).in_(ids))).all()
    by_id = {message.id: message for message in found}
    return [by_id[number] for number in ids]


def told_in(rows: Sequence[Message]) -> list[tuple[Reading, Asked]]:
    """Each reading with what was asked. A text that was put right counts as its last correction,
    in its own place.
    """
    known = {row.id for row in rows if row.kind != CORRECTION}
    instead = {row.answers_id: row for row in rows if row.kind == CORRECTION}
    found = []
    for row in rows:
        if row.kind == CORRECTION and (row.answers_id in known or instead[row.answers_id] != row):
            continue
        told = instead.get(row.id, row)
        found.append((_reading(told.reading), context_from_json(told.context or {}).asked))
    return found


def _reading(stored: Mapping[str, Any] | None) -> Reading:
    return reading_from_json(stored or {})
