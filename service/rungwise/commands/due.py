"""`rungwise due`: what would go out until a moment, when and to whom. It changes nothing."""

import argparse
import json
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from sqlmodel import Session, col, select

from rungwise.coach.daily.outlook import Coming, outlook
from rungwise.errors import ImpossibleValue
from rungwise.parts import assemble
from rungwise.settings import Settings
from rungwise.store.tables import Client

IDS_AT_ONCE = 500
# Further ahead, replies and moves will have changed everything.
LONGEST_AHEAD = timedelta(days=31)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--at",
        required=True,
        metavar="ISO",
        help="the last moment that counts, such as 2026-03-02T14:00Z; UTC unless it has an offset",
    )
    parser.add_argument("--client", type=int, metavar="ID", help="only this client")
    parser.add_argument("--database", help="database URL (RUNGWISE_DATABASE_URL)")
    parser.add_argument("--json", action="store_true", help="print a JSON list")


def run(options: argparse.Namespace) -> int:
    until = _moment(options.at)
    settings = Settings.from_environment()
    if options.database:
        settings = settings.model_copy(update={"database_url": options.database})
    parts = assemble(settings)
    if until - parts.clock.now() > LONGEST_AHEAD:
        raise ImpossibleValue("--at", options.at, f"within {LONGEST_AHEAD.days} days from now")
    with parts.store.read() as session:
        coming = [
            each
            for each in outlook(session, parts.clock.now(), until)
            if options.client in (None, each.client_id)
        ]
        clients = _clients(session, coming)
    parts.store.close()
    rows = [_row(each, clients) for each in coming]
    if options.json:
        print(json.dumps(rows, ensure_ascii=False))
    else:
        for row in rows:
            print(_line(row))
    return 0


def _moment(given: str) -> datetime:
    try:
        at = datetime.fromisoformat(given)
    except ValueError:
        allowed = "a date and time such as 2026-03-02T14:00Z"
        raise ImpossibleValue("--at", given, allowed) from None
    return at.replace(tzinfo=UTC) if at.tzinfo is None else at.astimezone(UTC)


def _clients(session: Session, coming: list[Coming]) -> Mapping[int, Client]:
    ids = sorted({each.client_id for each in coming if each.client_id is not None})
    found: dict[int, Client] = {}
    for first in range(0, len(ids), IDS_AT_ONCE):
        rows = select(Client).where(col(Client.id).in_(ids[first : first + IDS_AT_ONCE]))
        found |= {client.id: client for client in session.exec(rows).all()}
    return found


def _row(each: Coming, clients: Mapping[int, Client]) -> dict[str, Any]:
    client = clients.get(each.client_id) if each.client_id is not None else None
    local = each.at.astimezone(ZoneInfo(client.time_zone)) if client is not None else None
    return {
        "at": each.at.isoformat(timespec="seconds").replace("+00:00", "Z"),
        "local": local.isoformat(timespec="seconds") if local is not None else None,
        "kind": each.kind,
        "client": each.client_id,
        "called": client.called if client is not None else None,
        "date": each.local_date.isoformat() if each.local_date is not None else None,
        "text": each.would == "text",
        "waiting": each.waiting,
        "because": each.because,
    }


def _line(row: Mapping[str, Any]) -> str:
    whom = f"client {row['client']} ({row['called']})" if row["called"] else "nobody known"
    what = f"{row['kind']} text" if row["text"] else row["kind"]
    if row["waiting"]:
        what += ", in the outbox"
    because = f": {row['because']}" if row["because"] else ""
    return f"{row['at']}  {whom}  {what}{because}"
