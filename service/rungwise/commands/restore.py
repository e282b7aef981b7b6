"""`rungwise restore`: make a backup the database again; what was there is kept beside it."""

import argparse
import sys
from datetime import UTC, datetime
from pathlib import Path

from tqdm import tqdm

from rungwise.commands.backup import shown_on
from rungwise.settings import Settings
from rungwise.store.moving.backup import put_back


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", type=Path, help="a file that `backup` made")
    parser.add_argument("--database", help="database URL (RUNGWISE_DATABASE_URL)")


def run(options: argparse.Namespace) -> int:
    url = options.database or Settings.from_environment().database_url
    with tqdm(desc="Copying", unit=" pages", file=sys.stderr, disable=None, leave=False) as bar:
        restored = put_back(url, options.file, datetime.now(UTC), shown_on(bar))
    print(f"The database is {options.file} again, and SQLite found it whole.")
    if restored.kept is not None:
        print(f"What was there before is kept as {restored.kept}.")
    if restored.older:
        print("It is from an older version: run `rungwise migrate` before you start the service.")
    print(
        "It knows nothing of what came after it. Before you start the service, look in your "
        "carrier's own list for who said STOP or told of a fall since then, and act on that."
    )
    return 0
