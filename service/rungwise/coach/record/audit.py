"""The audit trail: who looked at or changed what, only ever added to.

Each line's hash covers its content and the hash before it, so that a line changed, taken out or
put in between by hand is found by `rungwise audit verify`. The end of the trail can only be held
by keeping its last hash elsewhere; the command prints it.
"""

from collections.abc import Iterator
from datetime import datetime
from hashlib import sha256
from json import dumps
from typing import Any

from sqlalchemy import text
from sqlmodel import Session, col, select

from rungwise.store.tables import Audit, Practice, Trainer

FIRST = "0" * 64
# Any number that no other advisory lock of ours uses; the practice's id is the second half.
LOCK = 7_201
PAGE = 500


def record(
    session: Session,
    now: datetime,
    trainer: Trainer,
    action: str,
    *,
    client_id: int | None = None,
    **detail: object,
) -> None:
    """Add one line. `detail` holds plain JSON values and no message text."""
    _add(session, now, trainer.practice_id, trainer.id, client_id, action, detail)


def record_by_service(
    session: Session, now: datetime, practice_id: int, action: str, **detail: object
) -> None:
    """Add one line about what the service did by itself, for the practice."""
    _add(session, now, practice_id, None, None, action, detail)


def _add(
    session: Session,
    now: datetime,
    practice_id: int,
    trainer_id: int | None,
    client_id: int | None,
    action: str,
    detail: dict[str, object],
) -> None:
    if session.connection().dialect.name == "postgresql":
        # Two processes must not both follow the same line. SQLite has one writer anyway.
        lock = text("SELECT pg_advisory_xact_lock(:lock, :practice)")
        session.execute(lock, {"lock": LOCK, "practice": practice_id})
    last = _last(session, practice_id)
    line = Audit(
        practice_id=practice_id,
        number=last.number + 1 if last else 1,
        trainer_id=trainer_id,
        client_id=client_id,
        action=action,
        detail=detail,
        at=now,
        hash="",
    )
    line.hash = hash_of(line, last.hash if last else FIRST)
    session.add(line)
    session.flush()


def _last(session: Session, practice_id: int) -> Audit | None:
    rows = select(Audit).where(Audit.practice_id == practice_id)
    return session.exec(rows.order_by(col(Audit.number).desc()).limit(1)).first()


def hash_of(line: Audit, before: str) -> str:
    """SHA-256 over the hash before and every field of the line, as canonical JSON."""
    content: dict[str, Any] = {
        "practice": line.practice_id,
        "number": line.number,
        "trainer": line.trainer_id,
        "client": line.client_id,
        "action": line.action,
        "detail": line.detail,
        "at": line.at.isoformat(),
    }
    plain = dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=True)
    return sha256(f"{before}\n{plain}".encode()).hexdigest()


def broken_at(session: Session, practice: Practice) -> tuple[int, str] | None:
    """The first line that does not follow from the one before, and what is wrong with it."""
    before = FIRST
    for number, line in enumerate(lines_of(session, practice), 1):
        if line.number != number:
            return number, f"line {number} is missing"
        if line.hash != hash_of(line, before):
            return number, f"line {number} was changed, or one before it was"
        before = line.hash
    return None


def lines_of(session: Session, practice: Practice) -> Iterator[Audit]:
    """The practice's lines in order, a page at a time."""
    after = 0
    while True:
        rows = select(Audit).where(Audit.practice_id == practice.id, Audit.number > after)
        page = session.exec(rows.order_by(col(Audit.number)).limit(PAGE)).all()
        yield from page
        if len(page) < PAGE:
            return
        after = page[-1].number


def last_hash(session: Session, practice: Practice) -> str:
    last = _last(session, practice.id)
    return last.hash if last else FIRST
