"""`rungwise audit verify`: check that nobody changed the audit trail by hand."""

import argparse

from sqlmodel import select

from rungwise.coach.record.audit import broken_at, last_hash
from rungwise.settings import Settings
from rungwise.store.sealing.unlocking import open_store
from rungwise.store.tables import Practice


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--database", help="database URL (RUNGWISE_DATABASE_URL)")
    what = parser.add_subparsers(dest="what", required=True, metavar="verify")
    what.add_parser("verify", help="check every line against the one before; exit 1 if one fails")


def run(options: argparse.Namespace) -> int:
    store = open_store(Settings.from_environment(), options.database)
    failed = False
    with store.read() as session:
        for practice in session.exec(select(Practice)).all():
            broken = broken_at(session, practice)
            if broken is None:
                print(f"{practice.name}: whole. Last hash {last_hash(session, practice)}")
            else:
                failed = True
                print(f"{practice.name}: {broken[1]}.")
    store.close()
    return 1 if failed else 0
