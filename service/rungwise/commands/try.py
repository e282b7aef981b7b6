"""`rungwise try`: load the invented demo practice and serve it on this machine."""

import argparse
import sys
from datetime import UTC, datetime
from pathlib import Path

from sqlmodel import select
from tqdm import tqdm

from rungwise.commands.serve import check_port, serve, with_options
from rungwise.demo import load_demo
from rungwise.demo.cast import cast
from rungwise.demo.load import PASSWORD, texts_stored
from rungwise.errors import ServiceError
from rungwise.parts import assemble
from rungwise.settings import Settings
from rungwise.store import Store
from rungwise.store.moving.migrate import migrate
from rungwise.store.tables import Practice

DEMO_FILE = Path(".data/demo.sqlite3")
# The demo listens on this machine only, so its token may be known to all.
HANDSET_TOKEN = "the-demo-handset-token"  # noqa: S105


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
    prepare(file, fresh=options.fresh)
    if options.load_only:
        return 0
    _tell(settings, file)
    serve(assemble(settings))
    return 0


def prepare(file: Path, *, fresh: bool) -> None:
    """Make sure that the file holds the demo, whole; a load that was cut off starts over."""
    file.parent.mkdir(parents=True, exist_ok=True)
    loading = file.with_name(file.name + ".loading")
    if fresh or not file.exists():
        _load(loading)
        for each in _files(file):
            each.unlink(missing_ok=True)
        loading.rename(file)
    store = Store(f"sqlite:///{file}")
    migrate(store)
    with store.read() as session:
        practice = session.exec(select(Practice)).first()
    count = texts_stored(store)
    store.close()
    if practice is None or not practice.is_demo:
        raise NotTheDemo(file)
    print(f"The demo is ready: {practice.name}, {count} texts. It is kept in {file}.")


def _load(loading: Path) -> None:
    for each in _files(loading):
        each.unlink(missing_ok=True)
    store = Store(f"sqlite:///{loading}")
    migrate(store)
    told = "Playing four weeks of the invented practice"
    with tqdm(total=100, desc=told, unit="%", file=sys.stderr, leave=False) as bar:

        def shown(share: float) -> None:
            bar.update(int(share * 100) - bar.n)

        load_demo(store, datetime.now(UTC), shown)
    with store.engine.connect() as connection:
        # One whole file, without a log beside it, so that it can be moved into place.
        connection.exec_driver_sql("COMMIT")
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
        connection.exec_driver_sql("BEGIN")
    store.close()


def _files(file: Path) -> list[Path]:
    return [file.with_name(file.name + end) for end in ("", "-wal", "-shm")]


def _tell(settings: Settings, file: Path) -> None:
    base = settings.public_url
    people = cast()
    print()
    print(f"  Open          {base}/")
    for told in people.trainers:
        print(f"  Sign in as    {told['email']}   ({told['name']}, {told['role']})")
    print(f"  Password      {PASSWORD}")
    print(f"  Be a client   {base}/phone   (texts arrive there; answer them as a client would)")
    print(f"  Move time on  {sys.argv[0]} demo forward --days 7 --file {file}")
    print("  Stop          Ctrl-C")
    print()
    print("  An invented practice with invented people. Not a medical device.")
    sys.stdout.flush()
