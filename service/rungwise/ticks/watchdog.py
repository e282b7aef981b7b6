"""What notices that the ticks have stopped: a thread of its own that needs none of them.

It looks at when the ticks last noted themselves, in this or any other process on the database.
After some minutes without a note it tells the practice leads itself, by e-mail and by text, past
the outbox that no longer moves. It keeps the leads' addresses, so that it can tell them also when
the database is what has stopped. A process that is gone can tell nobody: for that there is the
heartbeat.
"""

import logging
from collections.abc import Callable, Mapping, Set
from concurrent.futures import Future, ThreadPoolExecutor
from concurrent.futures import TimeoutError as TookTooLong
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from threading import Event, Thread
from time import monotonic

from sqlmodel import Session, col, func, select

from rungwise.carriers.base import Accepted, Carrier, OutboundText
from rungwise.carriers.email import EMAIL
from rungwise.coach.alerting.duty import leads_of
from rungwise.coach.monitoring.outage_notices import SERVICE, TELL_AGAIN, TICKS, minutes_in
from rungwise.coach.record.wording import wording_of
from rungwise.logs import named
from rungwise.parts import Parts
from rungwise.store import Store
from rungwise.store.tables import LastTick, Practice, WatchNotice
from rungwise.ticks.liveness import Liveness, tell_systemd
from rungwise.wording.texts import render

log = logging.getLogger(__name__)

LOOK_EVERY_S = 15.0
# The database gets so long to answer; after that it counts as gone.
ANSWER_WITHIN_S = 10.0
# Stands in the prepared words until it is known.
MINUTES = "{minutes}"


@dataclass(frozen=True, slots=True)
class Lead:
    """Whom to tell, and in which words, kept for when the database cannot be asked."""

    practice_id: int
    email: str
    phone: str | None
    carrier: str
    from_phone: str
    stopped: str
    over: str


@dataclass(frozen=True, slots=True)
class Look:
    """What a look at the database found. `told`: when any process last told a practice of it."""

    last_tick: datetime | None
    leads: tuple[Lead, ...]
    told: Mapping[int, datetime]


class Watchdog:
    """`steady` counts seconds and is never set; `wall` is only for what is stored."""

    def __init__(
        self,
        store: Store,
        carriers: Mapping[str, Carrier],
        patience: timedelta,
        steady: Callable[[], float] = monotonic,
        wall: Callable[[], datetime] = lambda: datetime.now(UTC),
    ) -> None:
        self._store = store
        self._carriers = carriers
        self._patience = patience
        self._steady = steady
        self._wall = wall
        self._last: datetime | None = None
        self._since = steady()
        self._leads: tuple[Lead, ...] = ()
        self._told: dict[int, float] = {}
        self._asking: Future[Look] | None = None
        self._asker = ThreadPoolExecutor(1, thread_name_prefix="watchdog-asks")

    def look(self) -> None:
        """One look; tells the leads when the ticks have been silent for too long, or are back."""
        found = self._ask()
        if found is not None:
            self._leads = found.leads
            if found.last_tick != self._last:
                self._last, self._since = found.last_tick, self._steady()
        silent = timedelta(seconds=self._steady() - self._since)
        if self._last is None and found is not None:
            return  # ticks have never run on this database: nothing has stopped
        if silent >= self._patience:
            self._tell(silent, {} if found is None else found.told)
        elif found is not None and (found.told or self._told):
            self._tell_over()

    def _may_tell(self, practice_id: int, told: Mapping[int, datetime]) -> bool:
        """Whether neither we nor another process told this practice of it lately."""
        here, anywhere = self._told.get(practice_id), told.get(practice_id)
        if here is not None and self._steady() - here < TELL_AGAIN.total_seconds():
            return False
        return anywhere is None or self._wall() - anywhere >= TELL_AGAIN

    def _ask(self) -> Look | None:
        """What the database says; None when it does not answer."""
        if self._asking is None:
            self._asking = self._asker.submit(look_at, self._store)
        try:
            found = self._asking.result(ANSWER_WITHIN_S)
        except TookTooLong:
            return None  # still being asked: the next look takes that answer
        except Exception as problem:
            log.error("the watchdog could not ask the database: %s", named(problem))
            found = None
        self._asking = None
        return found

    def _tell(self, silent: timedelta, told: Mapping[int, datetime]) -> None:
        """Tell every practice that was not told lately; one that nothing reached, at every look."""
        leads = [lead for lead in self._leads if self._may_tell(lead.practice_id, told)]
        if self._leads and not leads:
            return
        minutes = minutes_in(silent)
        log.error("the ticks have been silent for %d minutes", minutes)
        said = [(lead, lead.stopped.replace(MINUTES, str(minutes))) for lead in leads]
        reached = {lead.practice_id for lead, words in said if self._send(lead, words)}
        if reached:
            self._told |= dict.fromkeys(reached, self._steady())
            self._note(reached, silent)

    def _tell_over(self) -> None:
        try:
            ended = self._store.run(_end)
        except Exception as problem:
            log.error("the watchdog could not store that it is over: %s", named(problem))
            return
        # Whoever took the note away tells, so that of many processes one does; or whoever told
        # while no note could be stored.
        for lead in self._leads:
            if lead.practice_id in ended or (lead.practice_id in self._told and not ended):
                self._send(lead, lead.over)
        self._told = {}

    def _send(self, lead: Lead, words: str) -> bool:
        """By e-mail and by text; whether either was taken."""
        ways = [(EMAIL, "", lead.email), (lead.carrier, lead.from_phone, lead.phone)]
        # No row of the outbox: an id that no row has, and no two of these share.
        number = -int(self._wall().timestamp() * 1000)
        taken = False
        for carrier, from_phone, to in ways:
            adapter = self._carriers.get(carrier)
            if adapter is None or not to:
                continue
            try:
                answer = adapter.send(OutboundText(number, from_phone, to, words))
            except Exception as problem:
                log.error("the watchdog could not use %s: %s", carrier, named(problem))
                continue
            taken = taken or isinstance(answer, Accepted)
        return taken

    def _note(self, reached: Set[int], silent: timedelta) -> None:
        now = self._wall()

        def note(session: Session) -> None:
            for practice_id in reached:
                session.merge(
                    WatchNotice(
                        practice_id=practice_id, what=TICKS, since=now - silent, told_at=now
                    )
                )

        try:
            self._store.run(note)
        except Exception as problem:
            log.error("the watchdog could not store what it told: %s", named(problem))

    def close(self) -> None:
        self._asker.shutdown(wait=False, cancel_futures=True)


def look_at(store: Store) -> Look:
    """When the slowest tick last noted itself, whom to tell, and when each was last told."""
    with store.read() as session:
        last = session.exec(select(func.min(LastTick.at))).one()
        notices = select(WatchNotice.practice_id, WatchNotice.told_at).where(
            WatchNotice.what == TICKS
        )
        told = {one: at for one, at in session.exec(notices).all() if at is not None}
        practices = session.exec(select(Practice).where(col(Practice.is_demo).is_(False))).all()
        leads = [lead for practice in practices for lead in _leads(session, practice)]
    return Look(last, tuple(leads), told)


def _leads(session: Session, practice: Practice) -> list[Lead]:
    own = wording_of(session, practice.id, practice.language)
    stopped = render("watch_ticks", practice.language, own, practice=practice.name, minutes=MINUTES)
    over = render("watch_over", practice.language, own, practice=practice.name, carrier=SERVICE)
    return [
        Lead(
            practice.id,
            trainer.email,
            trainer.phone,
            practice.carrier,
            practice.phone,
            stopped,
            over,
        )
        for trainer in leads_of(session, practice)
    ]


def _end(session: Session) -> set[int]:
    """Take the notes away; the practices that had one."""
    rows = select(WatchNotice).where(WatchNotice.what == TICKS).with_for_update()
    found = session.exec(rows).all()
    for notice in found:
        session.delete(notice)
    return {notice.practice_id for notice in found}


def watchdog_of(parts: Parts) -> Watchdog:
    patience = timedelta(minutes=parts.settings.watch_minutes)
    return Watchdog(parts.store, parts.carriers, patience)


def start_watchdog(
    watchdog: Watchdog, liveness: Liveness | None = None, every_s: float = LOOK_EVERY_S
) -> Callable[[], None]:
    """Look again and again in a thread, and tell systemd of life; the answer stops it."""
    alive = liveness or Liveness()
    stopping = Event()

    def run() -> None:
        tell_systemd(alive)
        while not stopping.wait(every_s):
            tell_systemd(alive)
            try:
                watchdog.look()
            except Exception as problem:
                log.error("the watchdog stumbled: %s", named(problem))

    thread = Thread(target=run, name="watchdog", daemon=True)
    thread.start()

    def stop() -> None:
        stopping.set()
        thread.join(every_s)
        watchdog.close()

    return stop
