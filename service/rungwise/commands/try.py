"""`rungwise try`: load the invented demo practice and serve it on this machine."""

import argparse
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from threading import Thread

from sqlmodel import select

from rungwise.app import create_app
from rungwise.clock import AheadClock
from rungwise.commands.progress import progress
from rungwise.commands.serve import check_port, serve, with_options
from rungwise.demo.cast import cast
from rungwise.demo.load import PASSWORD, begin_demo, play_weeks, texts_stored
from rungwise.errors import ServiceError
from rungwise.parts import assemble
from rungwise.settings import Settings
from rungwise.store import Store
from rungwise.store.moving.migrate import migrate
from rungwise.store.tables import DemoClock, Practice
from rungwise.ticks.scheduler import start_ticks
from rungwise.web.account.first_look import add_first_look

DEMO_FILE = Path(".data/demo.sqlite3")
# The demo listens on this machine only, so its token may be known to all.
HANDSET_TOKEN = "the-demo-handset-token"  # noqa: S105
# The share of the weeks after which the demo's own clock is moved on, for who looks on.
SHOWN_EVERY = 0.01


class NotTheDemo(ServiceError):
    """The demo's file holds something else than the demo."""

    def __init__(self, file: Path) -> None:
        super().__init__(f"{file} holds a real practice, not the demo. Choose another --file.")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--host", help="address to listen on (127.0.0.1)")
    parser.add_argument("--port", type=int, help="port to listen on (8780)")
    parser.add_argument("--file", type=Path, default=DEMO_FILE, help="the demo's SQLite file")
    parser.add_argument("--fresh", action="store_true", help="start the demo over")
    parser.add_argument("--load-only", action="store_true", help="load the demo, don't serve it")


def run(options: argparse.Namespace) -> int:
    file: Path = options.file
    settings = with_options(
        Settings(
            database_url=f"sqlite:///{file}",
            handset_token=HANDSET_TOKEN,
            log_format="plain",
            log_level="warning",
        ),
        options,
    )
    settings = settings.model_copy(update={"public_url": f"http://{settings.host}:{settings.port}"})
    if not options.load_only:
        check_port(settings)
    if is_ready(file) and not options.fresh:
        _tell_ready(settings)
        if not options.load_only:
            _serve(settings, file)
        return 0
    now = datetime.now(UTC)
    begin(file, now)
    if options.load_only:
        store = Store(settings.database_url)
        _play(store, now)
        store.close()
        _tell_ready(settings)
    else:
        # What is due is the play's until it has caught up; then the ticks start.
        _serve(settings.model_copy(update={"ticks": False}), file, now)
    return 0


def is_ready(file: Path) -> bool:
    """Whether the file holds the demo, whole. NotTheDemo when it holds anything else."""
    if not file.exists():
        return False
    store = Store(f"sqlite:///{file}")
    try:
        migrate(store)
        with store.read() as session:
            practice = session.exec(select(Practice)).first()
            clock = session.get(DemoClock, 1)
    finally:
        store.close()
    if practice is not None and not practice.is_demo:
        raise NotTheDemo(file)
    # A clock behind the machine's is that of a demo whose play was cut off: it starts over.
    return practice is not None and clock is not None and clock.ahead_s >= 0


def begin(file: Path, now: datetime) -> None:
    """A new file with a demo that begins."""
    file.parent.mkdir(parents=True, exist_ok=True)
    for end in ("", "-wal", "-shm"):
        file.with_name(file.name + end).unlink(missing_ok=True)
    store = Store(f"sqlite:///{file}")
    migrate(store)
    begin_demo(store, now)
    store.close()


def _play(store: Store, now: datetime) -> None:
    clock = AheadClock(store)
    with progress("Playing four weeks of the invented practice") as told:
        seen = 0.0

        def shown(share: float, at: datetime) -> None:
            nonlocal seen
            told(share)
            # Each writes to the database, so not at every step.
            if share - seen >= SHOWN_EVERY:
                seen = share
                clock.set(at)

        play_weeks(store, now, shown)


def _serve(settings: Settings, file: Path, playing: datetime | None = None) -> None:
    """Serve at once; weeks that are still to be played are played meanwhile."""
    parts = assemble(settings)
    stops: list[Callable[[], None]] = []

    def play(now: datetime) -> None:
        _play(parts.store, now)
        _tell_ready(settings)
        stops.append(start_ticks(parts))

    app = create_app(parts=parts)
    _tell(settings, file, add_first_look(app))
    if playing is not None:
        Thread(target=play, args=[playing], name="demo play", daemon=True).start()
    serve(app)
    for stop in stops:
        stop()


def _tell_ready(settings: Settings) -> None:
    store = Store(settings.database_url)
    with store.read() as session:
        practice = session.exec(select(Practice)).one()
    print(f"The demo is ready: {practice.name}, {texts_stored(store)} texts.", flush=True)
    store.close()


def _tell(settings: Settings, file: Path, first_look: str) -> None:
    base = settings.public_url
    people = cast()
    print()
    print(f"  Open          {base}{first_look}")
    print("                (signs you in, once)")
    print(f"  Later         {base}/")
    for told in people.trainers:
        print(f"  Sign in as    {told['email']}   ({told['name']}, {told['role']})")
    print(f"  Password      {PASSWORD}")
    print(f"  Be a client   {base}/phone   (texts arrive there; answer them as a client would)")
    print(f"  Move time on  {sys.argv[0]} demo forward --days 7 --file {file}")
    print(f"  Kept in       {file}")
    print("  Stop          Ctrl-C")
    print()
    print("  An invented practice with invented people. Not a medical device.")
    sys.stdout.flush()
