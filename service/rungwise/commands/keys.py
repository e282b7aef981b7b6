"""`rungwise keys`: the keys that seal names, numbers and words in the database."""

import argparse

from sqlmodel import Session

from rungwise.commands.progress import progress
from rungwise.settings import Settings
from rungwise.store import Store
from rungwise.store.moving.migrate import check_current
from rungwise.store.sealing.crypto import keys_from, make_key
from rungwise.store.sealing.rotation import Rotation
from rungwise.store.sealing.unlocking import Sealing


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--database", help="database URL (RUNGWISE_DATABASE_URL)")
    what = parser.add_subparsers(dest="what", required=True, metavar="make|show|rotate")
    what.add_parser("make", help="print a new key; keep it in two places besides the database")
    what.add_parser("show", help="say which keys the database needs and which are set")
    rotates = what.add_parser("rotate", help="seal everything with the first key that is set")
    rotates.add_argument(
        "--thorough",
        action="store_true",
        help="also change what numbers are found by, and rewrite the database's files; only "
        "while the service is stopped",
    )


def run(options: argparse.Namespace) -> int:
    if options.what == "make":
        print(make_key())
        return 0
    settings = Settings.from_environment()
    store = Store(options.database or settings.database_url)
    check_current(store)
    if options.what == "show":
        _show(store, settings)
    else:
        _rotate(store, settings, thorough=options.thorough)
    store.close()
    return 0


def _show(store: Store, settings: Settings) -> None:
    with store.read() as session:
        needed = _needed(session)
    given = [key.name for key in keys_from(settings.data_keys)]
    print(f"The database needs: {', '.join(needed) or 'no key, it is not sealed'}.")
    print(f"RUNGWISE_DATA_KEYS has: {', '.join(given) or 'none'}.")


def _needed(session: Session) -> list[str]:
    row = session.get(Sealing, 1)
    return list(row.key_ids) if row is not None else []


def _rotate(store: Store, settings: Settings, *, thorough: bool) -> None:
    keys = keys_from(settings.data_keys)
    rotation = Rotation(store, keys, thorough)
    total = rotation.prepare()
    done = 0
    with progress("Sealing") as shown:

        def sealed(rows: float) -> None:
            nonlocal done
            done += int(rows)
            shown(done / max(total, 1))

        changed = rotation.run(sealed)
    print(f"Everything is sealed with the key {keys[0].name}: {changed} of {total} rows changed.")
    if len(keys) > 1:
        print("Take the other keys out of RUNGWISE_DATA_KEYS, and restart the service.")
    print("Older backups still need the key they were made with.")
