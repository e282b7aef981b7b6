"""Telling the practice leads that something has stopped, by a way that still works.

A carrier fails for a practice when its circuit is open, when texts wait for it and none leave, or
when its last three texts failed and none has left since. After a set time the leads are told: by
e-mail when texts fail, by text when e-mail does. They are told again every four hours until it is
over, and once when it is. What watches the ticks themselves is service/rungwise/ticks/watchdog.py.
"""

import logging
from collections import defaultdict
from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlmodel import Session, case, col, func, select

from rungwise.carriers.email import EMAIL
from rungwise.coach.alerting.duty import leads_of
from rungwise.coach.alerting.paging import BY_EMAIL
from rungwise.coach.outbox.sender_numbers import From, numbers_in_order
from rungwise.coach.outbox.texts import Text, queue_to_phone
from rungwise.coach.record.wording import wording_of
from rungwise.store import Store
from rungwise.store.database import one_at_a_time
from rungwise.store.tables import QUEUED, Circuit, Message, Number, Practice, WatchNotice
from rungwise.wording.texts import render

log = logging.getLogger(__name__)

TELL_AGAIN = timedelta(hours=4)
FAILED_IN_A_ROW = 3
LOOKED_AT = 200
SERVICE = "Rungwise"
TICKS = "ticks"


@dataclass(frozen=True, slots=True)
class Failing:
    """What fails, since when."""

    what: str
    since: datetime


def watch_carriers(store: Store, now: datetime, set_up: Set[str], patience: timedelta) -> int:
    """Tell the leads of carriers that have failed for `patience`; how many notices changed.

    Looks in a read first: on most ticks nothing has changed and nothing is written.
    """
    with store.read() as session:
        if not _changes(session, now, set_up, patience):
            return 0
    return store.run(lambda session: _act(session, now, set_up, patience))


def _changes(
    session: Session, now: datetime, set_up: Set[str], patience: timedelta
) -> list[tuple[Practice, str, Failing | None]]:
    """What is to be told: newly or still failing, or over (None)."""
    found: list[tuple[Practice, str, Failing | None]] = []
    practices = session.exec(select(Practice).where(col(Practice.is_demo).is_(False))).all()
    notices: dict[int, dict[str, WatchNotice]] = defaultdict(dict)
    for each in session.exec(select(WatchNotice)).all():
        notices[each.practice_id][each.what] = each
    known = _known(session, now, practices)
    for practice in practices:
        held = notices[practice.id]
        failing = {one.what: one for one in _failing(session, practice, set_up, known)}
        for what in sorted((held.keys() | failing.keys()) - {TICKS}):
            one, notice = failing.get(what), held.get(what)
            late = one is not None and now - one.since >= patience
            again = notice is None or notice.told_at is None or now - notice.told_at >= TELL_AGAIN
            if (one is None and notice is not None) or (late and again):
                found.append((practice, what, one))
    return found


def _act(session: Session, now: datetime, set_up: Set[str], patience: timedelta) -> int:
    one_at_a_time(session, "watch")
    changes = _changes(session, now, set_up, patience)
    for practice, what, failing in changes:
        notice = session.get(WatchNotice, (practice.id, what))
        ways = _working_ways(session, now, practice, set_up, patience, without=what)
        if failing is None:
            if notice is not None and notice.told_at is not None:
                _queue(session, now, practice, ways, "watch_over", carrier=what)
            session.delete(notice)
            continue
        fresh = notice is None
        notice = notice or WatchNotice(practice_id=practice.id, what=what, since=failing.since)
        minutes = minutes_in(now - failing.since)
        name = "watch_email" if what == EMAIL else "watch_texts"
        if _queue(session, now, practice, ways, name, carrier=what, minutes=minutes):
            notice.told_at = now
        elif fresh:
            log.error("%s fails for practice %s and no lead can be told", what, practice.id)
        session.add(notice)
    return len(changes)


def minutes_in(silence: timedelta) -> int:
    """Whole minutes, as a notice says them: at most four digits."""
    return min(int(silence.total_seconds() // 60), 9999)


def _working_ways(
    session: Session,
    now: datetime,
    practice: Practice,
    set_up: Set[str],
    patience: timedelta,
    without: str,
) -> list[From]:
    """E-mail and the first number whose carrier works; what waits a moment is no failure yet."""
    found = _failing(session, practice, set_up, _known(session, now, [practice]))
    failing = {one.what for one in found if now - one.since >= patience} | {without}
    numbers = numbers_in_order(session, practice.id)
    usable = [each for each in numbers if each.carrier in set_up - failing]
    by_mail = [BY_EMAIL] if EMAIL in set_up - failing else []
    return by_mail + usable[:1]


def _queue(
    session: Session,
    now: datetime,
    practice: Practice,
    ways: Sequence[From],
    name: str,
    **values: object,
) -> int:
    """Queue a notice to every lead by every way that works; how many were queued."""
    own = wording_of(session, practice.id, practice.language)
    body = render(name, practice.language, own, practice=practice.name, **values)
    queued = 0
    for lead in leads_of(session, practice):
        for way in ways:
            to = lead.email if way.carrier == EMAIL else lead.phone
            if to:
                queue_to_phone(session, now, practice, Text("page", body), to, None, way)
                queued += 1
    return queued


# --- whether a carrier fails ----------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Known:
    """What is asked once for all practices: since when each carrier is down for one, the carriers
    of each, and since when the longest-waiting text of one could have left by a carrier.
    """

    down: Mapping[tuple[int, str], datetime | None]
    carriers: Mapping[int, set[str]]
    waiting: Mapping[tuple[int, str], datetime]


def _known(session: Session, now: datetime, practices: Sequence[Practice]) -> _Known:
    carriers = {practice.id: {practice.carrier} for practice in practices}
    for practice_id, carrier in session.exec(select(Number.practice_id, Number.carrier)).all():
        carriers.setdefault(practice_id, set()).add(carrier)
    # Put off for quiet hours is no wait.
    since = case((col(Message.attempts) > 0, col(Message.created_at)), else_=Message.not_before)
    waits = select(Message.practice_id, Message.carrier, func.min(since)).where(
        QUEUED, since <= now
    )
    if len(practices) == 1:
        waits = waits.where(Message.practice_id == practices[0].id)
    down = session.exec(select(Circuit.practice_id, Circuit.carrier, Circuit.down_since)).all()
    rows = session.exec(waits.group_by(col(Message.practice_id), col(Message.carrier))).all()
    return _Known(
        {(practice_id, carrier): since for practice_id, carrier, since in down},
        carriers,
        {(practice_id, carrier): at for practice_id, carrier, at in rows},
    )


def _failing(
    session: Session, practice: Practice, set_up: Set[str], known: _Known
) -> list[Failing]:
    """The practice's carriers by which nothing leaves now, each with since when."""
    lately = _lately(session, practice.id)
    found = []
    for carrier in sorted(known.carriers[practice.id] | ({EMAIL} & set_up)):
        sinces = [
            known.down.get((practice.id, carrier)),
            known.waiting.get((practice.id, carrier)),
            _failing_since(lately, carrier),
        ]
        there = [since for since in sinces if since is not None]
        if there:
            found.append(Failing(carrier, min(there)))
    return found


def _lately(session: Session, practice_id: int) -> Sequence[tuple[str, str, datetime | None]]:
    """Carrier, state and when it was settled, of the latest texts that went out, latest first."""
    rows = select(Message.carrier, Message.state, Message.settled_at).where(
        Message.practice_id == practice_id,
        Message.direction == "out",
        col(Message.removed_at).is_(None),
    )
    latest = rows.order_by(col(Message.created_at).desc(), col(Message.id).desc())
    return session.exec(latest.limit(LOOKED_AT)).all()


def _failing_since(
    lately: Sequence[tuple[str, str, datetime | None]], carrier: str
) -> datetime | None:
    """Since when every text by this carrier failed; None unless three in a row did."""
    failed: list[datetime] = []
    for by, state, settled_at in lately:
        if by != carrier:
            continue
        if state in ("sent", "delivered"):
            break
        if state == "failed" and settled_at is not None:
            failed.append(settled_at)
    return min(failed) if len(failed) >= FAILED_IN_A_ROW else None
