"""The audit trail: who looked at or changed what, only ever added to.

Each line's hash covers its content and the hash before it, and a head says how many lines there
are and how the last one ends. With data keys both are keyed, so that only the service can make
them; without, whoever can write to the database can recompute them. A trail made anew from its
first line is found by a hash noted elsewhere: logs, backups and the heartbeat carry the last one.
"""

from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from json import dumps
from typing import Any

from sqlmodel import Session, col, func, select

from rungwise.store.database import one_at_a_time
from rungwise.store.sealing.crypto import audit_hash, audit_key
from rungwise.store.tables import Alert, Audit, AuditHead, Practice, Trainer

FIRST = "0" * 64
ERASURE = "client erased"
HANDLED, UNDONE = "alert handled", "handling undone"
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
    session: Session,
    now: datetime,
    practice_id: int,
    action: str,
    *,
    client_id: int | None = None,
    **detail: object,
) -> None:
    """Add one line about what the service did by itself, for the practice or about a client."""
    _add(session, now, practice_id, None, client_id, action, detail)


def _add(
    session: Session,
    now: datetime,
    practice_id: int,
    trainer_id: int | None,
    client_id: int | None,
    action: str,
    detail: dict[str, object],
) -> None:
    # Two processes must not both follow the same line.
    one_at_a_time(session, f"audit trail of {practice_id}")
    head = _head(session, practice_id)
    key = audit_key(session)
    sound = head is None or _is_sound(session, head)
    if head is None:
        head = AuditHead(practice_id=practice_id, count=0, hash=FIRST, key=key, mac="")
    line = Audit(
        practice_id=practice_id,
        # A line written by hand after the end keeps its number, and is found there.
        number=max(head.count, _last_number(session, practice_id)) + 1,
        trainer_id=trainer_id,
        client_id=client_id,
        action=action,
        detail=detail,
        at=now,
        hash="",
        key=key,
    )
    line.detail_hash = detail_hash(session, line)
    line.hash = hash_of(session, line, head.hash) or ""
    head.count, head.hash, head.key = line.number, line.hash, key
    # A head changed by hand is not made good by the next line.
    head.mac = (audit_hash(session, key, head.words) or "") if sound else ""
    session.add(line)
    session.add(head)
    session.flush()


def _head(session: Session, practice_id: int) -> AuditHead | None:
    rows = select(AuditHead).where(AuditHead.practice_id == practice_id)
    return session.exec(rows, execution_options={"populate_existing": True}).first()


def _is_sound(session: Session, head: AuditHead) -> bool:
    keyed_as_now = head.key == audit_key(session)
    return keyed_as_now and head.mac == audit_hash(session, head.key, head.words)


def _last_number(session: Session, practice_id: int) -> int:
    rows = select(func.max(Audit.number)).where(Audit.practice_id == practice_id)
    return session.exec(rows).one() or 0


def detail_hash(session: Session, line: Audit) -> str | None:
    """The hash of what an erasure takes out of a line; None without the line's key."""
    erasable = {"client": line.client_id, "detail": line.detail}
    return audit_hash(session, line.key or "", _plain(erasable))


def hash_of(session: Session, line: Audit, before: str) -> str | None:
    """The hash over the hash before and the line, as canonical JSON; None without its key."""
    content: dict[str, Any] = {
        "practice": line.practice_id,
        "number": line.number,
        "trainer": line.trainer_id,
        "action": line.action,
        # In UTC, as it is read back, whatever zone the moment was given in.
        "at": line.at.astimezone(UTC).isoformat(),
    }
    if line.detail_hash is None:
        # Written before a line's detail had a hash of its own.
        content |= {"client": line.client_id, "detail": line.detail}
    else:
        content["detail_hash"] = line.detail_hash
    return audit_hash(session, line.key or "", f"{before}\n{_plain(content)}")


def _plain(content: Mapping[str, Any]) -> str:
    return dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=True)


def broken_at(session: Session, practice: Practice, since: str = "") -> tuple[int, str] | None:
    """The first line that is wrong, and a sentence about it; None when the trail is whole.

    `since` is the hash of a line that somebody noted: lines up to it are taken as they are.
    """
    before, number, trusted = FIRST, 0, not since
    erased = _erased(session, practice)
    for number, line in enumerate(lines_of(session, practice), 1):
        wrong = _wrong(session, line, number, before, emptied=number in erased)
        if wrong is not None and trusted:
            return number, wrong
        trusted = trusted or line.hash == since
        before = line.hash
    if not trusted:
        return 0, f"no line has the hash {since}: the trail was made anew, or is another's"
    return _wrong_end(session, practice, number, before)


def _wrong(session: Session, line: Audit, number: int, before: str, *, emptied: bool) -> str | None:
    if line.number != number:
        return f"line {number} is missing"
    hashed_apart = line.detail_hash is not None and not emptied
    if hashed_apart and line.detail_hash != detail_hash(session, line):
        return f"line {number} was changed"
    # An old line whose content an erasure took out can be checked by the lines after it only.
    old_and_emptied = emptied and line.detail_hash is None
    if not old_and_emptied and line.hash != hash_of(session, line, before):
        return f"line {number} was changed, or one before it was"
    return None


def _erased(session: Session, practice: Practice) -> frozenset[int]:
    """The numbers of the lines that erasures emptied, by the lines about those erasures."""
    rows = select(Audit).where(Audit.practice_id == practice.id, Audit.action == ERASURE)
    return frozenset(
        number for line in session.exec(rows) for number in line.detail.get("emptied", [])
    )


def _wrong_end(
    session: Session, practice: Practice, count: int, last: str
) -> tuple[int, str] | None:
    head = _head(session, practice.id)
    if head is None:
        return count, "the record of where the trail ends is missing; every practice has one"
    if not _is_sound(session, head):
        return count, "the record of where the trail ends was changed"
    if head.count > count:
        return count + 1, f"the last {head.count - count} of {head.count} lines are missing"
    if head.count < count:
        added = head.count + 1
        return added, f"line {added} was added by hand, or by an older version"
    return None if head.hash == last else (count, f"line {count} was changed")


def words_hash(session: Session, *words: str | None) -> str:
    """The hash by which a line vouches for words that it must not quote."""
    return audit_hash(session, audit_key(session), _plain({"words": words})) or ""


def wrong_handlings(session: Session, practice: Practice) -> list[str]:
    """A sentence for each alert that does not say what was done in the words of its line."""
    rows = select(Audit).where(
        Audit.practice_id == practice.id, col(Audit.action).in_((HANDLED, UNDONE))
    )
    latest = {
        line.detail.get("alert"): line for line in session.exec(rows.order_by(col(Audit.number)))
    }
    wrong = []
    for alert_id, line in latest.items():
        if alert_id is None or "words" not in line.detail:
            continue
        alert = session.get(Alert, alert_id)
        said = None
        if alert is not None:
            words = _plain({"words": (alert.what_done, alert.note)})
            said = audit_hash(session, line.key or "", words)
        if said != line.detail["words"]:
            wrong.append(f"alert {alert_id} does not say any more what was written when handled")
    return wrong


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


def ends(session: Session) -> list[AuditHead]:
    """Where each practice's trail ends, by practice."""
    return list(session.exec(select(AuditHead).order_by(col(AuditHead.practice_id))))


def last_hash(session: Session, practice: Practice) -> str:
    head = _head(session, practice.id)
    return head.hash if head else FIRST
