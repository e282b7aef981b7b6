"""What changed since a program last asked, and reports of all its clients."""

from collections.abc import Callable, Sequence
from datetime import date
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query
from pydantic import BeforeValidator
from sqlmodel import Session, SQLModel, col, select

from rungwise.coach.outbox.change_feed import bring_up_to_date, changes_after, not_up_to_date
from rungwise.concepts.measures import Lengths
from rungwise.store.queries import pagination
from rungwise.store.queries.banner_counts import Scope
from rungwise.store.queries.inbox import with_texts
from rungwise.store.tables import Alert, Change, ChangeFeed, Client, Fall, MoveRow, Retest
from rungwise.web.api.caller import Caller, Needs
from rungwise.web.api.pagination import Cursor, Limit, Page, cursor_of, last_id, page_of
from rungwise.web.api.shapes import AlertOut, ClientOut, ClientReportOut
from rungwise.web.api.shapes_of_changes import (
    ChangeOut,
    ChangesOut,
    Item,
    fall_out,
    move_out,
    retest_out,
)

router = APIRouter()


def _written_as_a_date(given: Any) -> Any:
    """Else a bare number would be taken for so many seconds since 1970."""
    if isinstance(given, str) and "-" not in given:
        raise ValueError("it must be a date, such as 2026-03-02")
    return given


Day = Annotated[date, BeforeValidator(_written_as_a_date)]

# Which scope lets a program see which kind of change.
SCOPE_OF = {
    "client": "clients:read",
    "erased": "clients:read",
    "day": "reports:read",
    "move": "reports:read",
    "retest": "reports:read",
    "alert": "alerts:read",
    "fall": "alerts:read",
}


@router.get("/changes", tags=["changes"])
def changes(
    called: Annotated[Caller, Depends(Needs(None))], limit: Limit = 50, cursor: Cursor = ""
) -> ChangesOut:
    """What changed since the cursor, oldest first, each thing as it is now, of the kinds that the
    token's scopes let it see.

    Ask once without a cursor to begin: nothing is given but `next`, and changes are kept from then
    on. Read what there is by the other calls, then ask again and again with `next`. While `more` is
    true, ask at once. Changes are kept for 30 days.
    """
    kinds = [kind for kind, scope in SCOPE_OF.items() if scope in called.token.scopes]
    store, practice_id = called.parts.store, called.practice.id
    with store.read() as session:
        fresh = not_up_to_date(session, called.now, practice_id)
    if fresh:
        store.run(lambda session: bring_up_to_date(session, called.now, practice_id))
    with store.read() as session:
        feed = session.get_one(ChangeFeed, practice_id)
        after = last_id(cursor)
        if after is None:
            return ChangesOut(items=[], next=cursor_of(feed.last_number + 1), more=False)
        scope, lengths = Scope.of(called.trainer), called.practice.measures.lengths
        rows = changes_after(session, feed, scope, kinds, after - 1, limit + 1)
        shown, more = rows[:limit], len(rows) > limit
        last = shown[-1].number or 0 if more else feed.last_number
        return ChangesOut(
            items=_latest(session, shown, lengths), next=cursor_of(last + 1), more=more
        )


def _latest(session: Session, rows: Sequence[Change], lengths: Lengths) -> list[ChangeOut]:
    """Each thing once, where it changed last."""
    last = {(row.kind, row.subject_id): row for row in rows}
    items = _items(session, list(last.values()), lengths)
    return [
        ChangeOut(
            kind=row.kind,  # type: ignore[arg-type]  # stored as one of them
            id=row.subject_id,
            client_id=row.subject_id if row.kind == "erased" else row.client_id or 0,
            noted_at=row.numbered_at,
            item=items.get((row.kind, row.subject_id)),
        )
        for row in last.values()
    ]


def _items(
    session: Session, rows: Sequence[Change], lengths: Lengths
) -> dict[tuple[str, int], Item]:
    """What changed, as it is now."""
    ids: dict[str, list[int]] = {}
    for row in rows:
        ids.setdefault(row.kind, []).append(row.subject_id)
    found: dict[tuple[str, int], Item] = {}
    for listed in pagination.clients_of(session, ids.get("client", [])):
        found["client", listed.client.id] = ClientOut.listed(listed, lengths)
    for report, move in pagination.reports_of(session, ids.get("day", [])):
        found["day", report.id] = ClientReportOut.of((report, move))
    alerts = select(Alert, Client).join(Client, col(Client.id) == col(Alert.client_id))
    wanted = alerts.where(col(Alert.id).in_(ids.get("alert", [])))
    for entry in with_texts(session, session.exec(wanted).all()):
        found["alert", entry.alert.id] = AlertOut.of(entry)
    outs: tuple[tuple[str, type[SQLModel], Callable[[Any], Item]], ...] = (
        ("move", MoveRow, move_out),
        ("fall", Fall, fall_out),
        ("retest", Retest, retest_out),
    )
    for kind, table, out in outs:
        key = col(table.id)  # type: ignore[attr-defined]  # each has one
        for changed in session.exec(select(table).where(key.in_(ids.get(kind, [])))).all():
            found[kind, changed.id] = out(changed)  # type: ignore[attr-defined]
    return found


@router.get("/reports", tags=["reports"])
def practice_reports(
    called: Annotated[Caller, Depends(Needs("reports:read"))],
    since: Annotated[Day | None, Query(description="The first local date.")] = None,
    until: Annotated[Day | None, Query(description="The last local date.")] = None,
    limit: Limit = 50,
    cursor: Cursor = "",
) -> Page[ClientReportOut]:
    """What all clients reported, latest told first, with the move made of each."""
    wanted = pagination.ReportsWanted(Scope.of(called.trainer), since, until)
    with called.parts.store.read() as session:
        rows = pagination.practice_reports_before(session, wanted, limit + 1, last_id(cursor))
    return page_of(rows, limit, lambda row: row[0].id, ClientReportOut.of)
