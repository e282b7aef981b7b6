"""What a trainer takes along to clients: where each stands, what to look at, what to measure."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlmodel import Session, col, func, select

from rungwise.coach.record.situation import Situation, load
from rungwise.coach.reviews.retests import local_date, reviews_due
from rungwise.coach.reviews.visits import seen_of
from rungwise.evidence import KINDS, reasons
from rungwise.ladder.rungs import Rung
from rungwise.store.tables import Alert, Client, Retest


@dataclass(frozen=True, slots=True)
class Sheet:
    """One client's part of the sheet. `rung` None before a first rung was set."""

    client: Client
    situation: Situation | None
    rung: Rung | None
    look_at: tuple[str, ...]
    alerts: tuple[str, ...]
    measure: tuple[str, ...]


def sheets(session: Session, now: datetime, clients: Sequence[Client]) -> list[Sheet]:
    """The sheet's parts, in the order of the clients."""
    ids = [client.id for client in clients]
    seen = dict(_reasons(session, now, clients))
    alerts = _open_kinds(session, ids)
    last = _last_tests(session, ids)
    due = reviews_due(session, clients)
    found = []
    for client in clients:
        situation = load(session, client)
        today = local_date(client, now)
        due_on = due.get(client.id)
        measure = to_measure(
            situation.plan_row.profile["body"] if situation else {},
            last[client.id],
            due=due_on is not None and due_on <= today,
        )
        found.append(
            Sheet(
                client=client,
                situation=situation,
                rung=_rung(situation),
                look_at=seen.get(client.id, ()),
                alerts=tuple(alerts[client.id]),
                measure=measure,
            )
        )
    return found


def _rung(situation: Situation | None) -> Rung | None:
    if situation is None or situation.placement.rung_key not in situation.ladder:
        return None
    return situation.rung


def to_measure(body: Mapping[str, Any], last: Mapping[str, date], *, due: bool) -> tuple[str, ...]:
    """What to measure at a visit: feet that were only guessed, and the tests done before.

    `last` is the date of the latest test of each kind. Without any, the four-stage test is asked
    for when a review is due: it is the one that the first rung came from.
    """
    wanted = []
    if body.get("estimated"):
        wanted.append("Feet and hips: guessed so far. Foot length and breadth, hip width.")
    for kind, day in sorted(last.items(), key=lambda one: one[1]):
        wanted.append(f"{KINDS[kind].title}: last on {day:%-d %b %Y}.")
    if due and not last:
        wanted.append(f"{KINDS['four_stage'].title}: none yet.")
    return tuple(wanted)


def _reasons(
    session: Session, now: datetime, clients: Sequence[Client]
) -> list[tuple[int, tuple[str, ...]]]:
    return [
        (client.id, tuple(one.says for one in reasons(seen, local_date(client, now))))
        for client, seen in seen_of(session, clients, now)
    ]


def _open_kinds(session: Session, ids: Sequence[int]) -> Mapping[int, list[str]]:
    rows = select(Alert.client_id, Alert.kind).where(
        col(Alert.client_id).in_(ids), col(Alert.state) != "handled"
    )
    found: dict[int, list[str]] = defaultdict(list)
    for client_id, kind in session.exec(rows.order_by(col(Alert.id))).all():
        found[client_id].append(kind)
    return found


def _last_tests(session: Session, ids: Sequence[int]) -> Mapping[int, dict[str, date]]:
    rows = (
        select(Retest.client_id, Retest.kind, func.max(Retest.day))
        .where(col(Retest.client_id).in_(ids), col(Retest.withdrawn_at).is_(None))
        .group_by(col(Retest.client_id), col(Retest.kind))
    )
    found: dict[int, dict[str, date]] = defaultdict(dict)
    for client_id, kind, day in session.exec(rows).all():
        found[client_id][kind] = day
    return found
