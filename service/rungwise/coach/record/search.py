"""Looking for words in texts and notes.

The database may hold the words sealed, so it cannot look for them: they are opened and looked
through here, the latest first, so many at a time. What was not looked through yet is said, and
asking again goes on from there.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from sqlalchemy import func, or_, select
from sqlmodel import Session, col

from rungwise.reply.plain import Plain, plain
from rungwise.store.queries.banner_counts import Scope
from rungwise.store.tables import Client, ClientNote, Message

# Texts looked through at a time: about 100 ms of opening them, measured on two slow cores.
TEXTS_AT_ONCE = 4000
NOTES_AT_ONCE = 2000
MOST_FOUND = 50
SHORTEST = 2
# What stands around a find.
AROUND = 60

_OF_A_TEXT = (
    col(Message.id),
    col(Message.client_id),
    col(Message.direction),
    col(Message.created_at),
    col(Message.body),
)
_FIRST = func.coalesce(col(ClientNote.edits_id), col(ClientNote.id))


@dataclass(frozen=True, slots=True)
class Hit:
    """A text or note with the words: what stands before, is, and stands after the first find."""

    kind: str
    client_id: int
    at: datetime
    before: str
    match: str
    after: str
    name: str = ""


@dataclass(frozen=True, slots=True)
class Found:
    """What was found. `older` is where to go on, None when all was looked through.

    `since` is the time of the oldest text that was looked at.
    """

    hits: tuple[Hit, ...]
    looked: int
    since: datetime | None
    older: int | None


def search(session: Session, scope: Scope, words: str, before: int | None = None) -> Found:
    """All of the words in one text or note of the scope's clients, latest first.

    Notes are looked through with the first texts. `before` is a text's number to go on from.
    """
    wanted = plain(words).text.split()
    if len("".join(wanted)) < SHORTEST:
        return Found((), 0, None, None)
    notes = list(_notes(session, scope, wanted)) if before is None else []
    texts, looked, since, older = _texts(session, scope, wanted, before)
    hits = sorted([*notes, *texts], key=lambda hit: hit.at, reverse=True)[:MOST_FOUND]
    return Found(_named(session, hits), looked, since, older)


def _texts(
    session: Session, scope: Scope, wanted: Sequence[str], before: int | None
) -> tuple[list[Hit], int, datetime | None, int | None]:
    # Wrapped, so that the databases go back from the latest text instead of sorting every client's.
    whose = func.coalesce(col(Message.client_id), 0)
    mine = whose > 0
    if scope.trainer_id is not None:
        mine = whose.in_(select(col(Client.id)).where(scope.clients))
    rows = (
        select(*_OF_A_TEXT)
        .where(
            col(Message.practice_id) == scope.practice_id,
            mine,
            # What a client wrote and what a trainer wrote; our own texts say nothing new.
            or_(col(Message.direction) == "in", col(Message.kind) == "own"),
        )
        .order_by(col(Message.id).desc())
        .limit(TEXTS_AT_ONCE)
    )
    if before is not None:
        rows = rows.where(col(Message.id) < before)
    hits: list[Hit] = []
    looked, since, last = 0, None, None
    for text_id, client_id, direction, at, body in session.execute(rows):
        looked, since, last = looked + 1, at, text_id
        hit = found_in(body, wanted)
        if hit and client_id is not None:
            kind = "from" if direction == "in" else "to"
            hits.append(Hit(kind, client_id, at, *hit))
            if len(hits) == MOST_FOUND:
                break
    whole = looked < TEXTS_AT_ONCE and len(hits) < MOST_FOUND
    return hits, looked, since, None if whole else last


def _notes(session: Session, scope: Scope, wanted: Sequence[str]) -> Iterator[Hit]:
    rows = (
        select(col(ClientNote.client_id), col(ClientNote.at), col(ClientNote.body), _FIRST)
        .join(Client, col(Client.id) == col(ClientNote.client_id))
        .where(scope.clients)
        .order_by(col(ClientNote.id).desc())
        .limit(NOTES_AT_ONCE)
    )
    seen: set[int] = set()
    for client_id, at, body, first in session.execute(rows):
        # The latest version comes first; what a note said before it was edited is history.
        hit = found_in(body, wanted) if first not in seen else None
        seen.add(first)
        if hit:
            yield Hit("note", client_id, at, *hit)


def found_in(body: str, wanted: Sequence[str]) -> tuple[str, str, str] | None:
    """What stands around the first of the words, when all of them are in it.

    Capitals and accents do not matter.
    """
    held: Plain = plain(body)
    if not all(word in held.text for word in wanted):
        return None
    at = held.text.index(wanted[0])
    span = held.span(at, at + len(wanted[0]))
    first, last = max(span.start - AROUND, 0), span.end + AROUND
    before = ("… " if first else "") + body[first : span.start]
    after = body[span.end : last] + (" …" if last < len(body) else "")
    return before, body[span.start : span.end], after


def _named(session: Session, hits: Sequence[Hit]) -> tuple[Hit, ...]:
    ids = {hit.client_id for hit in hits}
    rows = select(col(Client.id), col(Client.name)).where(col(Client.id).in_(ids))
    names = {row.id: row.name for row in session.execute(rows)}
    return tuple(replace(hit, name=names[hit.client_id]) for hit in hits)
