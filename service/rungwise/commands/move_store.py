"""`rungwise move-store`: copy everything from one database to another, say SQLite to PostgreSQL."""

import argparse
import sys

from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError
from tqdm import tqdm

from rungwise.errors import ImpossibleValue, NotFound
from rungwise.store import Store
from rungwise.store.moving.backup import sqlite_file
from rungwise.store.moving.move import Move

KINDS = ("sqlite", "postgresql", "postgres")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("source", metavar="FROM", help="URL of the database that has everything")
    parser.add_argument("target", metavar="TO", help="URL of an empty database")


def run(options: argparse.Namespace) -> int:
    for which, url in (("FROM", options.source), ("TO", options.target)):
        _check(which, url)
    source, target = Store(options.source), Store(options.target)
    if source.is_sqlite and not sqlite_file(options.source).is_file():
        raise NotFound(f"There is no database {options.source}. Correct FROM.")
    try:
        move = Move(source, target)
        total = move.prepare()
        with tqdm(total=total, desc="Copying", file=sys.stderr, disable=None, leave=False) as bar:
            copied = move.run(bar.update)
    finally:
        source.close()
        target.close()
    for each in copied:
        if each.rows:
            print(f"{each.rows:>12,}  {each.table}")
    print(f"{sum(each.rows for each in copied):>12,}  rows in all, counted on both sides")
    print("Set RUNGWISE_DATABASE_URL to the new database, with the same data keys if you have any.")
    return 0


def _check(which: str, url: str) -> None:
    try:
        kind = make_url(url).get_backend_name()
    except ArgumentError:
        kind = ""
    if kind not in KINDS:
        allowed = "a URL such as sqlite:///rungwise.sqlite3 or postgresql://user@host/rungwise"
        raise ImpossibleValue(which, url, allowed)
