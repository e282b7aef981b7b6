"""`rungwise replay`: re-read and re-decide everything stored; exit 1 if anything differs.

What another version of the reader or the rule made is counted apart, and is no reason for 1.
"""

import argparse
import json
import sys
from dataclasses import asdict

from tqdm import tqdm

from rungwise.coach.rule.replay import Difference, how_many, how_many_removed, replay
from rungwise.settings import Settings
from rungwise.store.sealing.unlocking import open_store


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--database", help="database URL (RUNGWISE_DATABASE_URL)")
    parser.add_argument("--json", action="store_true", help="one JSON line a difference")


def run(options: argparse.Namespace) -> int:
    store = open_store(Settings.from_environment(), options.database)
    count = earlier = 0
    with store.read() as session:
        total, removed = how_many(session), how_many_removed(session)
        with tqdm(total=total, desc="Replaying", file=sys.stderr, disable=None, leave=False) as bar:
            for difference in replay(session, bar.update):
                if difference.earlier:
                    earlier += 1
                    continue
                count += 1
                _print(difference, as_json=options.json)
    store.close()
    if removed:
        told = "readings could not be checked, for the practice keeps the words no longer"
        print(f"{removed} {told}.", file=sys.stderr)
    if earlier:
        told = "made by an earlier version would come out otherwise now"
        print(f"{earlier} {told}.", file=sys.stderr)
    print(f"{total} readings, reports and moves looked at, {count} differ.", file=sys.stderr)
    return 1 if count else 0


def _print(difference: Difference, *, as_json: bool) -> None:
    told = asdict(difference)
    if as_json:
        print(json.dumps(told, ensure_ascii=False))
        return
    print(f"{told['what']} {told['id']} of client {told['client_id']}")
    print(f"  stored {told['stored']}")
    print(f"  now    {told['now']}")
