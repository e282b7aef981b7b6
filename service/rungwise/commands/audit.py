"""`rungwise audit verify`: check that nobody changed the audit trail, or what it vouches for."""

import argparse
import sys

from sqlmodel import Session, col, func, select
from tqdm import tqdm

from rungwise.coach.record.audit import broken_at, last_hash, wrong_handlings
from rungwise.coach.record.day_seals import check_days
from rungwise.settings import Settings
from rungwise.store.sealing.crypto import audit_key
from rungwise.store.sealing.unlocking import open_store
from rungwise.store.tables import Client, Practice

MOST_TOLD = 20
UNKEYED = (
    "This database has no data key, so whoever can write to it can also make the hashes anew. "
    "Compare with one noted elsewhere: rungwise audit verify --since HASH."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--database", help="database URL (RUNGWISE_DATABASE_URL)")
    what = parser.add_subparsers(dest="what", required=True, metavar="verify")
    verifies = what.add_parser(
        "verify", help="check the trail and what it vouches for; exit 1 if something was changed"
    )
    verifies.add_argument(
        "--since",
        metavar="HASH",
        default="",
        help="a last hash noted before, from a log, a backup or the heartbeat; a line must have it",
    )


def run(options: argparse.Namespace) -> int:
    store = open_store(Settings.from_environment(), options.database)
    since = options.since.strip().lower()
    try:
        with store.read() as session:
            whole = [
                _verify(session, practice, since)
                for practice in session.exec(select(Practice).order_by(col(Practice.id))).all()
            ]
            unkeyed = not audit_key(session)
    finally:
        store.close()
    told = [each for each in whole if each is not None]
    if since and not told:
        print(f"No line has the hash {since}: a trail was made anew, or the hash is another's.")
        return 1
    if unkeyed and told:
        print(UNKEYED)
    return 0 if all(told) else 1


def _verify(session: Session, practice: Practice, since: str) -> bool | None:
    """Say whether the practice's trail is whole; None if `since` is no line of it."""
    broken = broken_at(session, practice, since)
    if since and broken is not None and broken[0] == 0:
        return None
    wrong = [] if broken is None else [broken[1]]
    wrong += wrong_handlings(session, practice)
    clients = select(func.count()).select_from(Client).where(Client.practice_id == practice.id)
    total = session.exec(clients).one()
    name, last = practice.name, last_hash(session, practice)
    with tqdm(total=total, desc="Checking", unit=" clients", file=sys.stderr, leave=False) as bar:
        days = check_days(session, practice, bar.update)
    wrong += days.wrong
    for sentence in wrong[:MOST_TOLD]:
        print(f"{name}: {sentence}.")
    if len(wrong) > MOST_TOLD:
        print(f"{name}: and {len(wrong) - MOST_TOLD} more.")
    if not wrong:
        wordless = f", {days.wordless} of them without removed words" if days.wordless else ""
        print(f"{name}: whole, with {days.days} days of clients compared{wordless}.")
        print(f"Last hash {last}")
    return not wrong
