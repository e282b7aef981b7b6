"""The last days of clients as a strip: one mark a day, from what was asked, told and decided.

A few plain queries whatever the number of clients; what a day is called is decided by `mark_of`,
which is pure.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from sqlmodel import Session, col, select

from rungwise.coach.record.codec import report_to_json
from rungwise.concepts.signs import FLAGS
from rungwise.ladder.moves import PastDay
from rungwise.store.index_conditions import IS_PROMPT
from rungwise.store.tables import Client, Due, Message, MoveRow, Report

STRIP_DAYS = 14
# Every mark with what it says, in the order in which a summary counts them.
MARKS: Mapping[str, str] = {
    "sign": "fall, pain or another sign",
    "steady": "steady",
    "wobbly": "wobbly",
    "short": "short",
    "skipped": "not practised",
    "unfinished": "told, not counted",
    "silent": "no answer",
    "not_arrived": "text did not arrive",
    "held": "text held back",
    "resting": "resting",
    "due": "due later today",
    "waiting": "text sent, no answer yet",
    "none": "no text due",
}
# What a summary of the strip leaves out: nothing was asked.
UNCOUNTED = ("none",)
_OF_VERDICT = {"steady": "steady", "wobbly": "wobbly", "short": "short", "far_short": "short"}
# A day's text that did not reach anybody; all other states wait for an answer.
_OF_PROMPT = {"missed": "held", "cancelled": "held"}
_OF_PROMPT |= {"failed": "not_arrived", "unknown": "not_arrived"}
_MOVED = ("up", "back", "override", "rest")


@dataclass(frozen=True, slots=True)
class Told:
    """What of a day's report counts here: practised or not, and whether a sign was told."""

    skipped: bool = False
    sign: bool = False


@dataclass(frozen=True, slots=True)
class DaySeen:
    """All that is known of one date: the move that stands, the report, the day's text."""

    day: date
    verdict: str | None = None
    told: Told | None = None
    moved: str | None = None
    prompt: str | None = None
    due: bool = False
    resting: bool = False


@dataclass(frozen=True, slots=True)
class DayShown:
    """One day of the strip: its mark, and how the client was moved, if at all."""

    day: date
    mark: str
    moved: str | None = None

    @property
    def says(self) -> str:
        """The day in a sentence, for who does not see the mark."""
        moved = {"up": ", moved up", "back": ", moved back", "override": ", placed by a trainer"}
        return f"{self.day:%A} {self.day.day} {self.day:%B}: {MARKS[self.mark]}" + moved.get(
            self.moved or "", ""
        )


def mark_of(seen: DaySeen, today: date) -> str:
    """Which of MARKS a day gets; the gravest of what is known of it."""
    if seen.moved == "rest":
        return "sign"
    if seen.told is not None:
        return _of_told(seen.told, seen.verdict)
    if seen.prompt is not None:
        waits = "waiting" if seen.day == today else "silent"
        return _OF_PROMPT.get(seen.prompt, waits)
    if seen.due:
        return "due"
    return "resting" if seen.resting else "none"


def _of_told(told: Told, verdict: str | None) -> str:
    if told.sign:
        return "sign"
    return "skipped" if told.skipped else _OF_VERDICT.get(verdict or "", "unfinished")


def counts(strip: Sequence[DayShown]) -> str:
    """The strip in one line: 6 steady, 5 wobbly, 2 not practised."""
    found = Counter(one.mark for one in strip)
    told = [
        f"{found[mark]} {name}"
        for mark, name in MARKS.items()
        if found[mark] and mark not in UNCOUNTED
    ]
    return ", ".join(told) or "nothing asked yet"


def strips(
    session: Session,
    clients: Sequence[Client],
    now: datetime,
    pasts: Mapping[int, Sequence[PastDay]] | None = None,
    coming: Sequence[Due] | None = None,
) -> dict[int, tuple[DayShown, ...]]:
    """The strip of each client up to their own today, oldest day first. Four queries; fewer where
    the pasts of all these clients, or their prompts to come, were read already.
    """
    ids = [client.id for client in clients]
    todays = {client.id: _local(client, now) for client in clients}
    first = min(todays.values(), default=date.max) - timedelta(days=STRIP_DAYS - 1)
    if pasts is None:
        reports, moves = _reports(session, ids, first), _moves(session, ids, first)
    else:
        reports, moves = _reports_of(pasts), _moves_of(pasts)
    prompts = _prompts(session, ids, first)
    due = {(one.subject_id, one.local_date) for one in _coming(session, ids, coming)}
    found = {}
    for client in clients:
        today = todays[client.id]
        rests = _local(client, client.state_since) if client.state == "resting" else None
        days = [today - timedelta(days=back) for back in range(STRIP_DAYS - 1, -1, -1)]
        shown = []
        for day in days:
            key = client.id, day
            verdict, moved = moves.get(key, (None, None))
            seen = DaySeen(
                day=day,
                verdict=verdict,
                told=reports.get(key),
                moved=moved,
                prompt=prompts.get(key),
                due=key in due and day == today,
                resting=rests is not None and day >= rests,
            )
            shown.append(DayShown(day, mark_of(seen, today), moved))
        found[client.id] = tuple(shown)
    return found


def _local(client: Client, at: datetime) -> date:
    return at.astimezone(ZoneInfo(client.time_zone)).date()


Key = tuple[int, date]


def _reports(session: Session, ids: Sequence[int], first: date) -> dict[Key, Told]:
    rows = select(col(Report.client_id), col(Report.local_date), col(Report.told)).where(
        col(Report.client_id).in_(ids),
        col(Report.local_date) >= first,
        col(Report.superseded_at).is_(None),
    )
    return {(who, day): told_of(told) for who, day, told in session.exec(rows)}


def told_of(told: Mapping[str, Any]) -> Told:
    """A stored report, as the strip looks at it."""
    sign = any(told.get(name) == "yes" for name in FLAGS)
    grave = any(told.get(name) for name in ("emergency", "near_fall", "distress"))
    return Told(skipped=bool(told.get("skipped")), sign=sign or grave)


def _moves(
    session: Session, ids: Sequence[int], first: date
) -> dict[Key, tuple[str | None, str | None]]:
    """Each day's verdict, and the last move of the day that moved the client."""
    rows = (
        select(
            col(MoveRow.client_id), col(MoveRow.local_date), col(MoveRow.kind), col(MoveRow.facts)
        )
        .where(
            col(MoveRow.client_id).in_(ids),
            col(MoveRow.local_date) >= first,
            col(MoveRow.superseded_at).is_(None),
        )
        .order_by(col(MoveRow.id))
    )
    return _last_of_each_day(
        ((who, day), kind, facts) for who, day, kind, facts in session.exec(rows)
    )


def _last_of_each_day(
    moves: Iterable[tuple[Key, str, Mapping[str, Any]]],
) -> dict[Key, tuple[str | None, str | None]]:
    found: dict[Key, tuple[str | None, str | None]] = defaultdict(lambda: (None, None))
    for key, kind, facts in moves:
        verdict, moved = found[key]
        found[key] = (facts.get("verdict") or verdict, kind if kind in _MOVED else moved)
    return found


def _reports_of(pasts: Mapping[int, Sequence[PastDay]]) -> dict[Key, Told]:
    return {
        (who, one.day): told_of(report_to_json(one.report))
        for who, days in pasts.items()
        for one in days
        if one.report is not None
    }


def _moves_of(
    pasts: Mapping[int, Sequence[PastDay]],
) -> dict[Key, tuple[str | None, str | None]]:
    return _last_of_each_day(
        ((who, one.day), one.move.kind, one.move.facts)
        for who, days in pasts.items()
        for one in days
    )


def _prompts(session: Session, ids: Sequence[int], first: date) -> dict[Key, str]:
    """What became of each day's text."""
    rows = select(col(Message.client_id), col(Message.local_date), col(Message.state)).where(
        IS_PROMPT,
        col(Message.client_id).in_(ids),
        col(Message.local_date) >= first,
    )
    return {
        (who, day): state
        for who, day, state in session.exec(rows)
        if who is not None and day is not None
    }


def _coming(session: Session, ids: Sequence[int], read: Sequence[Due] | None) -> Sequence[Due]:
    """The prompts that are still to go."""
    if read is not None:
        return read
    rows = select(Due).where(Due.kind == "prompt", col(Due.subject_id).in_(ids))
    return session.exec(rows).all()
