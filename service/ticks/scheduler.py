"""APScheduler runs the ticks. No job store: the database holds what is due, not the scheduler."""

from collections.abc import Callable
from datetime import UTC, datetime
from time import monotonic

from apscheduler.schedulers.background import BackgroundScheduler

from service.carriers.email import mail_server
from service.parts import Parts
from service.ticks.jobs import due_tick, note_tick, send_tick
from service.ticks.mail import mail_tick

# Often enough to warn within a minute, seldom enough to cost nothing.
NOTE_EVERY_S = 10.0
MAIL_EVERY_S = 60.0


def start_ticks(parts: Parts) -> Callable[[], None]:
    """Start the ticks in the background; the answer stops them.

    `misfire_grace_time=None`: a tick that starts late still runs, for lateness is ours to judge.
    `coalesce=True`: many missed ticks are one, since a tick acts on everything due.
    `max_instances=1`: a tick never overlaps itself; every carrier call has a timeout, so none can
    block the next for long.
    """
    scheduler = BackgroundScheduler(timezone="UTC")
    jobs: dict[str, Callable[[], object]] = {
        "due": lambda: due_tick(parts.store, parts.clock),
        "send": lambda: send_tick(parts.store, parts.carriers, parts.clock),
    }
    noted = dict.fromkeys(jobs, 0.0)

    def run(name: str) -> None:
        jobs[name]()
        if monotonic() - noted[name] >= NOTE_EVERY_S:
            noted[name] = monotonic()
            note_tick(parts.store, name, datetime.now(UTC))

    for name in jobs:
        scheduler.add_job(
            run,
            "interval",
            args=[name],
            seconds=parts.settings.tick_seconds,
            id=name,
            misfire_grace_time=None,
            coalesce=True,
            max_instances=1,
        )
    server = mail_server(parts.settings)
    if server is not None:
        # Not noted with the others: weekly mail that fails is no reason to call texts stopped.
        scheduler.add_job(
            mail_tick,
            "interval",
            args=[parts.store, server, parts.clock, parts.settings.public_url],
            seconds=MAIL_EVERY_S,
            id="mail",
            misfire_grace_time=None,
            coalesce=True,
            max_instances=1,
        )
    scheduler.start()
    return lambda: scheduler.shutdown(wait=True)
