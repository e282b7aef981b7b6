"""`rungwise demo forward`: move the demo's clock on and watch what happens. Demo databases only."""

import argparse
import sys
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from sqlmodel import Session, col, select
from tqdm import tqdm

from rungwise.demo import forward
from rungwise.errors import ServiceError
from rungwise.parts import Parts, assemble
from rungwise.settings import Settings
from rungwise.store.tables import Client, Message, MoveRow

MOST_DAYS = 90


class NoDemoFile(ServiceError):
    """There is no demo yet."""

    def __init__(self, file: Path) -> None:
        super().__init__(f"There is no demo in {file}. Run `sh deploy/try` first.")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    what = parser.add_subparsers(dest="what", required=True, metavar="forward")
    forwards = what.add_parser("forward", help="move the clock on, with all that happens")
    forwards.add_argument("--days", type=float, default=0.0)
    forwards.add_argument("--hours", type=float, default=0.0)
    forwards.add_argument("--file", type=Path, default=Path(".data/demo.sqlite3"))
    forwards.add_argument("--quiet", action="store_true", help="only say where it ends")


def run(options: argparse.Namespace) -> int:
    by = timedelta(days=options.days, hours=options.hours)
    if not timedelta(0) < by <= timedelta(days=MOST_DAYS):
        print(f"rungwise: choose more than 0 and at most {MOST_DAYS} days.", file=sys.stderr)
        return 2
    if not options.file.exists():
        raise NoDemoFile(options.file)
    parts = assemble(Settings(database_url=f"sqlite:///{options.file}"))
    start = parts.clock.now()
    seen = _latest(parts)
    whole = by.total_seconds()
    with tqdm(
        total=whole,
        bar_format="{percentage:3.0f}% |{bar}|",
        file=sys.stderr,
        disable=None,
        leave=False,
    ) as bar:  # type: tqdm[Any]

        def shown(at: datetime) -> None:
            nonlocal seen
            if not options.quiet:
                seen = _show_news(parts, seen, bar)
            bar.update(min((at - start).total_seconds(), whole) - bar.n)

        end = forward(parts, whole, shown)
    if not options.quiet:
        _show_news(parts, seen, None)
    print(f"It is now {end:%A %d %B %Y %H:%M} UTC in the demo.")
    parts.store.close()
    return 0


def _latest(parts: Parts) -> int:
    with parts.store.read() as session:
        rows = select(Message.id).order_by(col(Message.id).desc()).limit(1)
        return session.exec(rows).first() or 0


def _show_news(parts: Parts, seen: int, bar: "tqdm[Any] | None") -> int:
    """Print the texts stored since `seen`, each with its client's own time; gives the last id."""
    with parts.store.read() as session:
        rows = (
            select(Message, Client)
            .join(Client, col(Client.id) == col(Message.client_id), isouter=True)
            .where(col(Message.id) > seen)
            .order_by(col(Message.id))
        )
        for message, client in session.exec(rows).all():
            seen = message.id
            lines = [_line(message, client), *_moves(session, message)]
            for each in lines:
                tqdm.write(each, file=sys.stdout) if bar is not None else print(each)
    return seen


def _line(message: Message, client: Client | None) -> str:
    zone = ZoneInfo(client.time_zone if client else "UTC")
    at = message.created_at.astimezone(zone)
    who = client.called if client else "trainer"
    arrow = "<-" if message.direction == "in" else "->"
    return f"{at:%a %d %b %H:%M}  {who:<9} {arrow} {message.body or message.problem}"


def _moves(session: Session, message: Message) -> list[str]:
    """What a client's text moved, and why."""
    if message.direction == "out":
        return []
    rows = select(MoveRow).where(
        MoveRow.client_id == message.client_id, MoveRow.decided_at == message.created_at
    )
    return [f"{'':29}{move.kind}: {move.because}" for move in session.exec(rows).all()]
