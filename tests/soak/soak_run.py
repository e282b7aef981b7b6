"""One soak: the service's processes, the operator and the killing, then the books.

Simulated time runs `speed` times as fast as real time. A run has a few days; each is a window of
some simulated minutes in which everybody's prompt falls due, with processes killed all the while,
an outage in the middle and a night after it, both while nothing runs. After the last day nobody is
killed any more and the operator behaves; when all has come to rest, both sides' books are compared.
"""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from pathlib import Path
from random import Random
from time import monotonic, sleep
from typing import Any
from zoneinfo import ZoneInfo

from soak_books import books_of, put_off, waiting
from soak_clients import BEGINS, Phones, Resident, move_in, residents
from soak_ledger import Books, Broken, broken
from soak_operator import KIND, Operator
from soak_server import FastClock, Servers
from sqlalchemy import text
from sqlmodel import col, select
from tqdm import tqdm

from rungwise.store import Store
from rungwise.store.tables import Due

# Real seconds.
AIMED_WITHIN_S = 0.6
REST_WITHIN_S = 120.0
MOST_OUTAGES = 12
# What a kill is aimed at; None: at any instant.
INSTANTS = ("text taken", "text offered", None)
OUTAGE = timedelta(minutes=20)
DAY = timedelta(days=1)
# A kill and the life before it, on average, in real seconds; makes the window.
A_KILL_S = 1.7
# Anything due for longer than this, simulated, is late.
LATE = timedelta(seconds=90)


@dataclass(frozen=True, slots=True)
class Plan:
    """How hard and how long."""

    clients: int
    kills: int
    seed: int
    processes: int = 1
    days: int = 2
    speed: float = 10.0
    # The longest a client thinks before answering, in simulated seconds.
    thinks_s: float = 150.0
    # How long a process is let live: texts taken and calls answered, so that a busy machine
    # changes little; and never for longer than so many real seconds.
    lives: int = 60
    lives_s: float = 3.0
    # By the simulated clock; fewer leave fewer on their way when a process dies.
    texts_per_second: float = 10.0
    show: bool = True

    @property
    def window(self) -> timedelta:
        per_day_s = max(self.kills / self.days * A_KILL_S / self.processes**0.5, 4.0)
        return timedelta(seconds=per_day_s * self.speed) + OUTAGE

    @property
    def lead(self) -> timedelta:
        """From the start of a day to its window."""
        return timedelta(seconds=min(self.speed * 2, 60))


@dataclass
class Told:
    """What a run has to say."""

    broken: Sequence[Broken]
    counts: Counter[str]
    kills: int
    cuts: int
    real_s: float
    simulated: timedelta
    log_lines: Counter[str] = field(default_factory=Counter)


class Soak:
    """One run on one database, whose tables are there and empty."""

    def __init__(self, database_url: str, folder: Path, plan: Plan) -> None:
        self.plan = plan
        self.dice = Random(plan.seed)
        self.store = Store(database_url)
        self.clock = FastClock.starting(BEGINS - timedelta(minutes=10), plan.speed)
        self.residents = residents(plan.clients, plan.window, self.dice)
        self.operator = Operator(
            self.clock, Random(plan.seed + 1), Phones(Random(plan.seed + 2), plan.thinks_s)
        )
        self.operator.open()
        self.servers = Servers(
            database_url, self.operator.url, plan.processes, folder, plan.texts_per_second
        )
        self.operator.ports = self.servers.ports
        self.operator.public_url = self.servers.public_url
        self.operator.aim.shoot = self._shoot
        self.cuts = 0

    def run(self) -> Told:
        began = monotonic()
        move_in(self.store, self.residents, self.clock.now(), show=self.plan.show)
        self._set_clock(BEGINS - self.plan.lead)
        try:
            with tqdm(
                total=self.plan.kills, desc="kills", disable=None if self.plan.show else True
            ) as bar:
                for number in range(self.plan.days):
                    self._day(number, bar)
            self._come_to_rest()
            found = self._books()
        finally:
            self.servers.close()
            self.operator.close()
            self.store.close()
        if self.operator.mistakes:
            raise self.operator.mistakes[0]
        breaches = broken(found)
        return Told(
            breaches,
            self._counted(found),
            self.servers.kills,
            self.cuts,
            monotonic() - began,
            self.clock.now() - BEGINS,
            _log_lines(self.servers.log),
        )

    # --- days and kills ---------------------------------------------------------------------------

    def _day(self, number: int, bar: "tqdm[None]") -> None:
        opens = BEGINS + number * DAY
        if number:
            self._jump_to(opens - self.plan.lead)
        self.servers.start_all(self.clock)
        share = self.plan.kills * (number + 1) // self.plan.days
        half = (share + self.servers.kills) // 2
        self._kill_until(half, bar)
        self._jump_to(self.clock.now() + OUTAGE)
        self.servers.start_all(self.clock)
        self._kill_until(share, bar)
        self._until(opens + self.plan.window, bar)
        if number + 1 < self.plan.days:
            self._settle_down()

    def _until(self, at, bar: "tqdm[None]") -> None:
        """When there were more deaths than planned a minute, prompts are still to fall due."""
        while self.clock.now() < at:
            sleep(0.1)
        bar.refresh()

    def _kill_until(self, count: int, bar: "tqdm[None]") -> None:
        while self.servers.kills < count:
            bar.n = self.servers.kills
            bar.refresh()
            self._let_live(self.dice.randrange(self.plan.lives))
            if not self.store.is_sqlite and self.dice.random() < 0.1:
                self._cut_connections()
            self._aim_and_shoot(self.dice.choice(INSTANTS))
            for each in range(self.plan.processes):
                self.servers.bury(each, must_be_dead=False)
            sleep(self.dice.choice((0.0, 0.05, 0.4)))
            self.servers.start_all(self.clock)
        bar.n = self.servers.kills
        bar.refresh()

    def _let_live(self, exchanges: int) -> None:
        until = self.operator.exchanges + exchanges
        self._wait_for(lambda: self.operator.exchanges >= until, self.plan.lives_s, 0.01)

    def _aim_and_shoot(self, instant: str | None) -> None:
        aim = self.operator.aim
        aim.hit.clear()
        aim.armed = instant
        if instant is None or not aim.hit.wait(AIMED_WITHIN_S):
            aim.armed = None
            self._shoot(None)
        if self.plan.processes > 1 and self.dice.random() < 0.15:
            for number in range(self.plan.processes):
                self.servers.kill(number)

    def _shoot(self, port: int | None) -> None:
        """Kill the process at that port, or any."""
        if port is None:
            port = self.dice.choice(self.servers.ports)
        self.servers.kill(self.servers.ports.index(port))

    def _cut_connections(self) -> None:
        """The database ends every connection of the service's, as when it is restarted."""
        with self.store.write() as session:
            session.execute(
                text(
                    "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
                    "WHERE datname = current_database() AND pid <> pg_backend_pid()"
                )
            )
        self.cuts += 1

    def _jump_to(self, at) -> None:
        """Time passes while nothing runs: an outage or a night. Its kills count like others."""
        self.servers.kill_all()
        self._wait_for(lambda: self.operator.asked == 0, 10)
        self._set_clock(at)

    def _set_clock(self, at) -> None:
        self.clock = FastClock.starting(at, self.plan.speed)
        self.operator.clock = self.clock

    # --- coming to rest ---------------------------------------------------------------------------

    def _settle_down(self) -> None:
        """Before a night: what clients texted is taken and answered, or time runs out."""
        self._wait_for(lambda: not (self._waiting() or self.operator.owed), REST_WITHIN_S)

    def _come_to_rest(self) -> None:
        """Nobody is killed any more and nothing goes wrong: wait for the end of what began.

        What takes a quarter of an hour is reached by an outage; its kills are not counted, for
        nothing was going on.
        """
        self.operator.manners = KIND
        for _ in range(MOST_OUTAGES):
            self._wait_for(
                lambda: not (self.operator.owed or self._late() or self._waiting()), REST_WITHIN_S
            )
            kills = self.servers.kills
            self.servers.kill_all()
            self._wait_for(lambda: self.operator.asked == 0, 10)
            self.servers.kills = kills
            if not self._restless():
                return
            # A text on its way was cut off: its lease must run out. One unsettled takes longer.
            self._set_clock(self.clock.now() + (OUTAGE if self._unsettled() else LATE))
            self.servers.start_all(self.clock)
        self.servers.kill_all()

    @staticmethod
    def _wait_for(true: Callable[[], bool], within_s: float, every_s: float = 0.1) -> bool:
        until = monotonic() + within_s
        while monotonic() < until:
            if true():
                return True
            sleep(every_s)
        return False

    def _waiting(self) -> list[str]:
        """Texts that could leave now, or are on their way."""
        with self.store.read() as session:
            return waiting(session, self.clock.now())

    def _restless(self) -> list[str]:
        """Everything that should be over and is not."""
        owed = [f"{self.operator.owed} texts of clients are not taken"] * bool(self.operator.owed)
        return [*self._late(), *self._unsettled(), *self._waiting(), *owed]

    def _late(self) -> list[str]:
        return self._due(Due.at <= self.clock.now() - LATE)

    def _unsettled(self) -> list[str]:
        """Texts whose fate is not known yet, that could not be dealt with at once, or that must
        arrive and wait for their next try.
        """
        with self.store.read() as session:
            tried_later = put_off(session, self.clock.now())
        return [*self._due(col(Due.kind).in_(("unsettled", "reread", "parts"))), *tried_later]

    def _due(self, which: Any) -> list[str]:
        with self.store.read() as session:
            rows = session.exec(select(Due).where(which)).all()
        return [f"{row.kind} of {row.subject_id} is due" for row in rows]

    # --- the books --------------------------------------------------------------------------------

    def _books(self) -> Books:
        died = [f"a server ended by itself with {code}" for code in self.servers.died]
        with self.store.read() as session:
            return books_of(
                session,
                self.clock.now(),
                {each.phone: self._prompt_dates(each) for each in self.residents},
                offered=list(self.operator.offered),
                accepted=list(self.operator.accepted),
                forged_taken=list(self.operator.forged_taken),
                left_over=[*self._restless(), *died],
            )

    def _prompt_dates(self, each: Resident) -> tuple[date, ...]:
        first = BEGINS.astimezone(ZoneInfo(each.time_zone)).date()
        return tuple(first + timedelta(days=number) for number in range(self.plan.days))

    def _counted(self, found: Books) -> Counter[str]:
        counts = found.counts
        counts["clients"] = len(found.people)
        counts["texts the operator took"] = len(found.accepted)
        counts["pages the operator took"] = len(found.pages)
        counts["calls of the operator"] = self.operator.calls
        counts["calls answered with an error"] = self.operator.refusals
        counts["forged calls"] = self.operator.forged
        return counts


def _log_lines(log: Path) -> Counter[str]:
    """What the servers logged, without the numbers in it."""
    if not log.exists():
        return Counter()
    lines = log.read_text(errors="replace").splitlines()
    return Counter(
        "".join("#" if sign.isdigit() else sign for sign in line)[:160]
        for line in lines
        if line[:1].isdigit() or line[:1].isalpha()
    )
