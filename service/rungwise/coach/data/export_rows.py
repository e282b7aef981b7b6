"""Everything stored of a client, as plain values: for export as JSON and CSV, and for erasure.

Which tables hold something of a client follows from their foreign keys, so that a new table is
neither forgotten in an export nor left behind by an erasure.
"""

import csv
import io
import json
import re
from collections.abc import Iterator, Mapping, Sequence
from datetime import date, datetime, time
from typing import IO, Any
from zipfile import ZIP_DEFLATED, ZipFile

from sqlalchemy import ColumnElement, Table, func, or_
from sqlalchemy import select as columns
from sqlmodel import Session, SQLModel

from rungwise.coach.record.moves import whole_past
from rungwise.coach.record.progress import day_held
from rungwise.coach.record.situation import Situation, load
from rungwise.store.tables import Client, Practice
from rungwise.wording.rung_words import rung_short

FORMAT = "rungwise"
FORMAT_VERSION = 1
CLIENTS_AT_ONCE = 50
# Keys to a page are nobody's data, and a hash of one helps nobody who may have it. What a program
# was answered is a copy of what stands elsewhere.
LEFT_OUT = {"picture_link": {"token_hash"}, "api_act": {"key_hash", "request_hash", "answer"}}
# What stands above a client and is shared by others.
NOT_A_CLIENTS = frozenset({"practice", "trainer", "number"})
# A spreadsheet takes a cell that begins so for a formula: also after spaces, in full width, and
# after a semicolon, at which many split a line.
FORMULA = re.compile(r"(^|;)(?=[\s\u200b\ufeff]*[=+\-@\uff1d\uff0b\uff0d\uff20]|[\t\r])")
PLAIN_NUMBER = re.compile(r"[+-]\d+")
DAY_COLUMNS = (
    *("client_id", "date", "rung_key", "rung", "target_s", "left_s", "right_s", "both_s"),
    *("steadiness", "skipped", "fall", "pain", "dizzy", "emergency", "verdict"),
    *("move", "to_rung_key", "because"),
)


def rows_of(ids: Sequence[int]) -> dict[Table, ColumnElement[bool]]:
    """Each table that holds something of these clients, parents first, with the condition on it."""
    found: dict[Table, ColumnElement[bool]] = {}
    client = _table("client")
    found[client] = client.c.id.in_(ids)
    for table in SQLModel.metadata.sorted_tables:
        if table is client or table.name in NOT_A_CLIENTS:
            continue
        conditions = []
        for key in table.foreign_keys:
            parent = key.column.table
            if parent in found and parent is not table:
                inside = columns(key.column).where(found[parent]).scalar_subquery()
                own = parent is client
                conditions.append(key.parent.in_(ids if own else inside))
        if conditions:
            found[table] = or_(*conditions)
    return found


def _table(name: str) -> Table:
    return SQLModel.metadata.tables[name]


def everything(session: Session, client_id: int) -> dict[str, list[dict[str, Any]]]:
    """All rows of the client by table, as plain JSON values; the audit lines about them too."""
    found: dict[str, list[dict[str, Any]]] = {}
    for table, condition in rows_of([client_id]).items():
        found[table.name] = _plain_rows(session, table, condition)
    audit = _table("audit")
    found["audit"] = _plain_rows(session, audit, audit.c.client_id == client_id)
    return found


def _plain_rows(
    session: Session, table: Table, condition: ColumnElement[bool]
) -> list[dict[str, Any]]:
    keep = [one for one in table.c if one.name not in LEFT_OUT.get(table.name, ())]
    rows = columns(*keep).where(condition).order_by(*table.primary_key.columns)
    return [
        {one.name: plain(value) for one, value in zip(keep, row, strict=True)}
        for row in session.execute(rows)
    ]


def plain(value: Any) -> Any:
    """A stored value as JSON has it: instants and dates in ISO 8601."""
    return value.isoformat() if isinstance(value, (datetime, date, time)) else value


# --- JSON -----------------------------------------------------------------------------------------


def write_json(
    session: Session, out: IO[bytes], now: datetime, practice: Practice, ids: Sequence[int]
) -> None:
    """One object with every client's rows; written client by client."""
    head = {
        "format": FORMAT,
        "version": FORMAT_VERSION,
        "made_at": now.isoformat(),
        "practice": practice.name,
    }
    out.write(json.dumps(head, ensure_ascii=False)[:-1].encode() + b', "clients": [')
    for place, client_id in enumerate(ids):
        out.write(b",\n" if place else b"\n")
        out.write(json.dumps(everything(session, client_id), ensure_ascii=False).encode())
        session.expunge_all()
    out.write(b"\n]}\n")


# --- CSV ------------------------------------------------------------------------------------------


def write_csv(session: Session, out: IO[bytes], ids: Sequence[int]) -> None:
    """A ZIP with one CSV file a table (RFC 4180, UTF-8), and days.csv with a line a day told."""
    tables = [*rows_of([]), _table("audit")]
    with ZipFile(out, "w", ZIP_DEFLATED) as held:
        held.writestr("days.csv", _csv_text(DAY_COLUMNS, _all_days(session, ids)))
        for table in tables:
            names = [one.name for one in table.c if one.name not in LEFT_OUT.get(table.name, ())]
            rows = _table_rows(session, table, ids)
            with held.open(f"{table.name}.csv", "w") as file:
                for text in _csv_pieces(names, rows):
                    file.write(text.encode())


def _table_rows(session: Session, table: Table, ids: Sequence[int]) -> Iterator[Mapping[str, Any]]:
    for start in range(0, len(ids), CLIENTS_AT_ONCE):
        some = ids[start : start + CLIENTS_AT_ONCE]
        if table.name == "audit":
            yield from _plain_rows(session, table, table.c.client_id.in_(some))
        else:
            yield from _plain_rows(session, table, rows_of(some)[table])


def _csv_text(names: Sequence[str], rows: Iterator[Mapping[str, Any]]) -> str:
    return "".join(_csv_pieces(names, rows))


def _csv_pieces(names: Sequence[str], rows: Iterator[Mapping[str, Any]]) -> Iterator[str]:
    held = io.StringIO()
    writer = csv.writer(held)
    writer.writerow(names)
    for row in rows:
        writer.writerow([cell(row.get(name)) for name in names])
        if held.tell() > io.DEFAULT_BUFFER_SIZE:
            yield held.getvalue()
            held.seek(0)
            held.truncate()
    yield held.getvalue()


def cell(value: Any) -> Any:
    """A value as a cell: lists and objects as JSON; what looks like a formula after a '."""
    if isinstance(value, (dict, list)):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, str) and not PLAIN_NUMBER.fullmatch(value):
        return FORMULA.sub(r"\1'", value)
    return value


def _all_days(session: Session, ids: Sequence[int]) -> Iterator[Mapping[str, Any]]:
    for client_id in ids:
        yield from days_of(session, client_id)
        session.expunge_all()


def _rung_words(situation: Situation, key: str) -> str:
    if key not in situation.ladder:
        return ""
    return rung_short(situation.ladder[key], lengths=situation.lengths)


def days_of(session: Session, client_id: int) -> Iterator[Mapping[str, Any]]:
    """One line for each day with a move that stands: what was told and what was decided."""
    client = session.get_one(Client, client_id)
    situation = load(session, client)
    if situation is None:
        return
    for one in whole_past(session, client_id):
        report, move = one.report, one.move
        held = day_held(situation.ladder, one, situation.settings.target_s)
        key = report.rung_key if report else move.from_key
        line: dict[str, Any] = {
            "client_id": client_id,
            "date": one.day.isoformat(),
            "rung_key": key,
            "rung": _rung_words(situation, key),
            "move": move.kind,
            "to_rung_key": move.to_key,
            "because": move.because,
        }
        if held is not None:
            line |= {f"{side}_s": seconds for side, seconds in held.by_side.items()}
            line |= {"target_s": held.target_s, "verdict": held.verdict}
        if report is not None:
            line |= {
                "steadiness": report.steadiness,
                "skipped": report.skipped,
                "fall": report.fall,
                "pain": report.pain,
                "dizzy": report.dizzy,
                "emergency": report.emergency,
            }
        yield line


def counted(session: Session, client_id: int) -> dict[str, int]:
    """How many rows of the client each table holds, where it holds any."""
    found = {}
    for table, condition in rows_of([client_id]).items():
        count = session.execute(columns(func.count()).select_from(table).where(condition)).scalar()
        if count:
            found[table.name] = int(count)
    return found
