"""`rungwise backup`: copy a SQLite database to a new file while the service runs."""

import argparse
import sys
from pathlib import Path
from typing import Never

from tqdm import tqdm

from rungwise.settings import Settings
from rungwise.store.moving.backup import Shown, back_up, trail_ends


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", type=Path, help="where to; must not be there yet")
    parser.add_argument("--database", help="database URL (RUNGWISE_DATABASE_URL)")


def run(options: argparse.Namespace) -> int:
    url = options.database or Settings.from_environment().database_url
    with tqdm(desc="Copying", unit=" pages", file=sys.stderr, disable=None, leave=False) as bar:
        size = back_up(url, options.file, shown_on(bar))
    print(f"{options.file} holds everything as of now, {size:,} bytes, and SQLite found it whole.")
    print("It holds people's numbers and words: keep it where only you can read it.")
    for practice, count, last in trail_ends(options.file):
        print(f"The audit trail of practice {practice} has {count} lines; last hash {last}")
    return 0


def shown_on(bar: "tqdm[Never]") -> Shown:
    """Shows how far a copy is."""

    def shown(done: int, total: int) -> None:
        bar.total = total
        bar.update(done - bar.n)

    return shown
