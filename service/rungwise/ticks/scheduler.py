"""APScheduler runs the ticks. No job store: the database holds what is due, not the scheduler."""

from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from functools import partial
from time import monotonic

from apscheduler.schedulers.background import BackgroundScheduler

from rungwise.carriers.email import mail_server
from rungwise.carriers.hooks import post
from rungwise.coach.outbox.rate_limit import Pace
from rungwise.logs import about
from rungwise.parts import Parts
from rungwise.settings import Settings
from rungwise.store import Store
from rungwise.ticks.clock_jumps import ClockWatch
from rungwise.ticks.courses import EVERY_S as COURSES_EVERY_S
from rungwise.ticks.courses import course_tick
from rungwise.ticks.day_seals import EVERY_S as SEAL_EVERY_S
from rungwise.ticks.day_seals import day_seal_tick
from rungwise.ticks.jobs import due_tick, look_after, note_tick
from rungwise.ticks.liveness import Liveness
from rungwise.ticks.mail import mail_tick
from rungwise.ticks.monitoring_jobs import ONE_AT_A_TIME, add_watching
from rungwise.ticks.sending import Senders
from rungwise.ticks.webhooks import FORGET_EVERY, forget_tick, webhook_tick

# Often enough to warn within a minute, seldom enough to cost nothing.
NOTE_EVERY_S = 10.0
MAIL_EVERY_S = 60.0
WEBHOOKS_EVERY_S = 2.0


def start_ticks(parts: Parts, liveness: Liveness | None = None) -> Callable[[], None]:
    """Start the ticks in the background; the answer stops them. `liveness` learns of each end.

    `misfire_grace_time=None`: a tick that starts late still runs, for lateness is ours to judge.
    `coalesce=True`: many missed ticks are one, since a tick acts on everything due.
    `max_instances=1`: a tick never overlaps itself. None waits for a carrier: that is done by a
    thread for each, which the send tick wakes.
    """
    scheduler = BackgroundScheduler(timezone="UTC")
    watch = ClockWatch()
    senders = Senders(parts.store, parts.carriers, parts.clock, paces(parts.settings), parts.meters)
    senders.start()

    def due() -> bool:
        if watch.trusted():
            due_tick(parts.store, parts.clock)
        return True

    def send() -> bool:
        look_after(parts.store, parts.carriers, parts.clock)
        senders.wake()
        return senders.all_well()

    jobs: dict[str, Callable[[], bool]] = {"due": due, "send": send}

    alive = liveness or Liveness()
    run = _noting(parts.store, jobs, alive)
    for name in jobs:
        alive.expect(name)
        scheduler.add_job(
            run,
            "interval",
            args=[name],
            seconds=parts.settings.tick_seconds,
            id=name,
            **ONE_AT_A_TIME,
        )
    _add_mail(scheduler, parts)
    _add_webhooks(scheduler, parts)
    _add_daily(scheduler, parts)
    end_watching = add_watching(scheduler, parts)
    scheduler.start()

    def stop() -> None:
        alive.forget()
        scheduler.shutdown(wait=True)
        senders.stop()
        end_watching()

    return stop


def _noting(
    store: Store, jobs: Mapping[str, Callable[[], bool]], alive: Liveness
) -> Callable[[str], None]:
    """Runs a job by its name, and notes that it ended, and in the database that it went well."""
    noted = dict.fromkeys(jobs, 0.0)

    def run(name: str) -> None:
        try:
            with about(tick=name):
                if jobs[name]() and monotonic() - noted[name] >= NOTE_EVERY_S:
                    noted[name] = monotonic()
                    note_tick(store, name, datetime.now(UTC))
        finally:
            alive.ended(name)

    return run


def _add_mail(scheduler: BackgroundScheduler, parts: Parts) -> None:
    """Send the weekly mail too, where a mail server is set up."""
    server = mail_server(parts.settings)
    if server is not None:
        # Not noted with the others: weekly mail that fails is no reason to call texts stopped.
        scheduler.add_job(
            mail_tick,
            "interval",
            args=[parts.store, server, parts.clock, parts.settings.public_url],
            seconds=MAIL_EVERY_S,
            id="mail",
            **ONE_AT_A_TIME,
        )


def _add_webhooks(scheduler: BackgroundScheduler, parts: Parts) -> None:
    """Call webhooks, and forget what was settled long ago; not noted with the others either."""
    call = partial(post, private=parts.settings.webhook_private)
    scheduler.add_job(
        webhook_tick,
        "interval",
        args=[parts.store, parts.clock, call, parts.meters],
        seconds=WEBHOOKS_EVERY_S,
        id="webhooks",
        **ONE_AT_A_TIME,
    )
    scheduler.add_job(
        forget_tick,
        "interval",
        args=[parts.store, parts.clock],
        seconds=FORGET_EVERY.total_seconds(),
        id="forget-webhooks",
        **ONE_AT_A_TIME,
    )


def _add_daily(scheduler: BackgroundScheduler, parts: Parts) -> None:
    """What is done once a day, for each day or client: its hash, and a look at the course."""
    scheduler.add_job(
        day_seal_tick,
        "interval",
        args=[parts.store, parts.clock],
        seconds=SEAL_EVERY_S,
        id="day-seals",
        **ONE_AT_A_TIME,
    )
    scheduler.add_job(
        course_tick,
        "interval",
        args=[parts.store, parts.clock],
        seconds=COURSES_EVERY_S,
        id="courses",
        **ONE_AT_A_TIME,
    )


def paces(settings: Settings) -> dict[str, Pace]:
    """How fast each carrier may be used."""
    return {
        "kannel": Pace(per_second=settings.kannel_texts_per_second),
        "cloud": Pace(per_second=settings.cloud_texts_per_second),
    }
