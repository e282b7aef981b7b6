"""Who needs a visit: what is stored of each client, put before the rules of evidence.visits."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from sqlalchemy import Row
from sqlmodel import Session, col, func, select

from rungwise.coach.record.codec import PlanSettings
from rungwise.coach.record.falls import falls_of
from rungwise.coach.reviews.flags import Flags, flags_of
from rungwise.coach.reviews.retests import last_reviews, local_date, reviews_due
from rungwise.evidence import ClientSeen, DaySeen, Reason, rank, reasons
from rungwise.evidence.visits import BEFORE_DAYS, FALL_DAYS, RECENT_DAYS, SILENT_PROMPTS
from rungwise.store.index_conditions import IS_PROMPT
from rungwise.store.queries.banner_counts import Scope
from rungwise.store.queries.current_plan import present_plans
from rungwise.store.tables import Alert, Client, Message, MoveRow, PlanRow, Report

LOOK_BACK = timedelta(days=RECENT_DAYS + BEFORE_DAYS + 1)
BAD = frozenset({"wobbly", "short", "far_short"})
COUNTED = BAD | {"steady"}
# Prompts are at most daily, so nobody who replied since then is silent.
MAYBE_SILENT = timedelta(days=SILENT_PROMPTS - 1)


@dataclass(frozen=True, slots=True)
class Needed:
    """A client on the list, with the reasons, gravest first."""

    client: Client
    reasons: tuple[Reason, ...]


def who_needs_a_visit(session: Session, scope: Scope, now: datetime) -> list[Needed]:
    """The clients of this scope whom a rule lists, in the order of the rules."""
    clients = session.exec(select(Client).where(scope.clients)).all()
    found = []
    for client, seen in seen_of(session, clients, now):
        why = reasons(seen, local_date(client, now))
        if why:
            found.append(Needed(client, why))
    return sorted(found, key=lambda one: (*rank(one.reasons), one.client.name))


def seen_of(
    session: Session, clients: Sequence[Client], now: datetime
) -> Iterable[tuple[Client, ClientSeen]]:
    """What the rules look at, for each client, in a few queries for all of them."""
    ids = [client.id for client in clients]
    settings = _settings(session, ids)
    days = _days(session, ids, (now - LOOK_BACK).date())
    alerts = _open_alerts(session, ids)
    falls = falls_of(session, clients, now - timedelta(days=FALL_DAYS + 1))
    silent = _silent(session, clients, now)
    due, reviewed = reviews_due(session, clients), last_reviews(session, clients)
    flags = flags_of(session, [one.id for one in clients if one.state == "active"])
    for client in clients:
        plan = settings.get(client.id, PlanSettings())
        yield (
            client,
            ClientSeen(
                state=client.state,
                state_since=local_date(client, client.state_since),
                started=local_date(client, client.consent_at or client.created_at),
                weekdays=plan.weekdays,
                away=plan.away,
                days=days[client.id],
                falls=[fall.day for fall in falls.get(client.id, ())],
                open_alerts={
                    kind: local_date(client, opened) for kind, opened in alerts[client.id]
                },
                decline=flags.get(client.id, Flags()).decline,
                told_too_well=flags.get(client.id, Flags()).told_too_well,
                reviewed=reviewed.get(client.id),
                silent_prompts=silent.get(client.id, 0),
                review_due=due.get(client.id),
            ),
        )


def _settings(session: Session, ids: Sequence[int]) -> dict[int, PlanSettings]:
    rows = present_plans(PlanRow.settings, ids)
    return {client_id: PlanSettings.from_json(stored) for client_id, stored in session.exec(rows)}


def _days(session: Session, ids: Sequence[int], since: date) -> dict[int, list[DaySeen]]:
    """Each client's reports that stand since a date, with what their day counted as."""
    moves = select(col(MoveRow.report_id), col(MoveRow.facts)).where(
        col(MoveRow.client_id).in_(ids),
        col(MoveRow.local_date) >= since,
        col(MoveRow.superseded_at).is_(None),
        col(MoveRow.report_id).is_not(None),
    )
    verdicts: dict[int, str | None] = {}
    row: Row[Any]
    for row in session.execute(moves):
        verdicts[row.report_id] = row.facts.get("verdict")
    reports = select(
        col(Report.id), col(Report.client_id), col(Report.local_date), col(Report.told)
    )
    found: dict[int, list[DaySeen]] = defaultdict(list)
    for row in session.execute(
        reports.where(
            col(Report.client_id).in_(ids),
            col(Report.local_date) >= since,
            col(Report.superseded_at).is_(None),
        ).order_by(col(Report.local_date))
    ):
        found[row.client_id].append(day_seen(row.local_date, row.told, verdicts.get(row.id)))
    return found


def day_seen(day: date, told: Mapping[str, Any], verdict: str | None) -> DaySeen:
    """A stored report and what the day counted as, as the rules look at it."""
    said = told["holds"] or told["steadiness"] or told["steadiness_by_side"]
    practised = bool(said) and not told["skipped"]
    bad = verdict in BAD if verdict in COUNTED else None
    return DaySeen(day, practised, bad)


def _open_alerts(session: Session, ids: Sequence[int]) -> dict[int, list[tuple[str, datetime]]]:
    """Kind and when opened of each client's open alerts."""
    rows = select(Alert.client_id, Alert.kind, Alert.opened_at).where(
        col(Alert.client_id).in_(ids), col(Alert.state) != "handled"
    )
    found: dict[int, list[tuple[str, datetime]]] = defaultdict(list)
    for client_id, kind, opened in session.exec(rows):
        found[client_id].append((kind, opened))
    return found


def _silent(session: Session, clients: Sequence[Client], now: datetime) -> dict[int, int]:
    """How many prompts running went without a word, for those who may be silent."""
    quiet = [
        client
        for client in clients
        if client.state == "active"
        and now - (client.last_reply_at or client.created_at) >= MAYBE_SILENT
    ]
    rows = (
        select(Message.client_id, func.count(col(Message.id)))
        .join(Client, col(Client.id) == col(Message.client_id))
        .where(
            col(Message.client_id).in_([client.id for client in quiet]),
            IS_PROMPT,
            col(Message.state).not_in(("missed", "cancelled")),
            Message.created_at > func.coalesce(Client.last_reply_at, Client.created_at),
        )
        .group_by(col(Message.client_id))
    )
    return {client_id: count for client_id, count in session.exec(rows) if client_id is not None}
