"""`rungwise migrate`: bring the database to this version's tables."""

import argparse

from rungwise.settings import Settings
from rungwise.store import Store
from rungwise.store.moving.migrate import migrate, write_migration


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--to", default="head", help="a revision, or base to undo everything")
    parser.add_argument(
        "--write",
        nargs=2,
        metavar=("REVISION", "MESSAGE"),
        help="for developers: write a migration from how the tables differ from this database",
    )


def run(options: argparse.Namespace) -> int:
    store = Store(Settings.from_environment().database_url)
    if options.write:
        revision, message = options.write
        write_migration(store, message, revision)
        return 0
    before, after = migrate(store, options.to)
    store.close()
    if before == after:
        print(f"The database is at {after or 'the empty start'} already.")
    else:
        print(f"Migrated from {before or 'empty'} to {after or 'empty'}.")
    return 0
