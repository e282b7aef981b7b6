"""Sessions as they were planned and done, from plans, texts and reports."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any

from sqlalchemy import Row
from sqlmodel import Session as Store
from sqlmodel import col, select

from rungwise.coach.conversation.on_due import IN_DOUBT
from rungwise.coach.record.codec import PlanSettings
from rungwise.coach.record.falls_followed import got_texts
from rungwise.coach.reviews.visits import day_seen
from rungwise.concepts.signs import SIGNS
from rungwise.evidence.dose import Session, Stay
from rungwise.store.index_conditions import IS_PROMPT
from rungwise.store.tables import Client, Message, PlanRow, Report
from rungwise.time_zone import zone_named

LEFT = ("sent", "delivered", "unknown")
_HEALTH = ("health", "clinician", "distress")
_ONE_DAY = timedelta(days=1)


@dataclass(slots=True)
class _Known:
    """What is known of one client's dates."""

    plans: list[tuple[date, PlanSettings]] = field(default_factory=list)
    prompts: dict[date, tuple[str, str | None]] = field(default_factory=dict)
    reports: dict[date, Mapping[str, Any]] = field(default_factory=dict)
    news: dict[date, set[str]] = field(default_factory=lambda: defaultdict(set))


def sessions_of(
    store: Store, clients: Sequence[Client], first: date, end: date
) -> dict[int, tuple[Session, ...]]:
    """Each client's sessions from `first` up to, not with, `end`, as long as they got texts."""
    known = _known(store, clients, first, end)
    found = {}
    for client in clients:
        begins, ends = got_texts(client)
        days = _days(max(first, begins), min(end, ends))
        sessions = (_session(known[client.id], day) for day in days)
        found[client.id] = tuple(one for one in sessions if one.planned or one.done)
    return found


def _days(first: date, end: date) -> Iterator[date]:
    day = first
    while day < end:
        yield day
        day += _ONE_DAY


def _known(store: Store, clients: Sequence[Client], first: date, end: date) -> dict[int, _Known]:
    zones = {client.id: zone_named(client.time_zone) for client in clients}
    found = {client.id: _Known() for client in clients}
    plans = select(PlanRow.client_id, PlanRow.settings, PlanRow.set_at).where(
        col(PlanRow.client_id).in_(zones)
    )
    for client_id, settings, set_at in store.exec(plans.order_by(col(PlanRow.version))).all():
        day = set_at.astimezone(zones[client_id]).date()
        found[client_id].plans.append((day, PlanSettings.from_json(settings)))
    within = (col(Message.local_date) >= first, col(Message.local_date) < end)
    prompts = select(
        col(Message.client_id), col(Message.local_date), col(Message.state), col(Message.problem)
    ).where(col(Message.client_id).in_(zones), IS_PROMPT, *within)
    row: Row[Any]
    for row in store.execute(prompts):
        found[row.client_id].prompts[row.local_date] = row.state, row.problem
    _reports(store, found, first, end)
    return found


def _reports(store: Store, found: Mapping[int, _Known], first: date, end: date) -> None:
    rows = select(
        col(Report.client_id), col(Report.local_date), col(Report.told), col(Report.message_ids)
    ).where(
        col(Report.client_id).in_(found),
        col(Report.local_date) >= first,
        col(Report.local_date) < end,
        col(Report.superseded_at).is_(None),
    )
    skipped: dict[int, tuple[int, date]] = {}
    row: Row[Any]
    for row in store.execute(rows):
        found[row.client_id].reports[row.local_date] = row.told
        if row.told["skipped"]:
            skipped |= dict.fromkeys(row.message_ids, (row.client_id, row.local_date))
    texts = select(Message.id, Message.reading).where(col(Message.id).in_(skipped))
    for number, reading in store.exec(texts).all():
        client_id, day = skipped[number]
        if reading and reading.get("news"):
            found[client_id].news[day].add(reading["news"])


def _session(known: _Known, day: date) -> Session:
    settings = next((one for since, one in reversed(known.plans) if since <= day), None)
    planned = settings is not None and day.weekday() in settings.weekdays
    told = known.reports.get(day)
    done = told is not None and day_seen(day, told, None).practised
    holds = [hold["seconds"] for hold in told["holds"]] if told is not None and done else []
    seconds = sum(each for each in holds if each is not None)
    if done or not planned or settings is None:
        return Session(day, planned, done, None, len(holds), seconds)
    return Session(day, planned, done, _why(known, settings, day, told))


def _why(known: _Known, settings: PlanSettings, day: date, told: Mapping[str, Any] | None) -> str:
    if any(begins <= day <= ends for begins, ends in settings.away):
        return "away"
    if told is not None:
        return _told_instead(told, known.news.get(day, set()))
    state, problem = known.prompts.get(day, ("cancelled", None))
    if state in LEFT:
        return "no_reply"
    if state == "cancelled":
        return "resting"
    return "held" if problem == IN_DOUBT else "not_sent"


def _told_instead(told: Mapping[str, Any], news: set[str]) -> str:
    if told["skipped"]:
        if news & set(_HEALTH):
            return "skipped_health"
        return "skipped_life" if news else "skipped"
    flags = [row.flag for row in SIGNS.values() if row.flag]
    unwell = any(told[flag] not in ("no", False) for flag in flags)
    return "unwell" if unwell else "no_reply"


def stays_of(store: Store, clients: Sequence[Client], now: datetime) -> list[Stay]:
    """How long each client could be seen, and on which days they told something."""
    told: dict[int, list[date]] = defaultdict(list)
    rows = store.execute(
        select(col(Report.client_id), col(Report.local_date)).where(
            col(Report.client_id).in_([client.id for client in clients]),
            col(Report.superseded_at).is_(None),
        )
    ).all()
    row: Row[Any]
    for row in rows:
        told[row.client_id].append(row.local_date)
    found = []
    for client in clients:
        begins, ends = got_texts(client)
        seen_to = min(ends, now.astimezone(zone_named(client.time_zone)).date())
        if begins < seen_to:
            days = [(day - begins).days for day in told[client.id]]
            found.append(Stay((seen_to - begins).days, days, client.state == "stopped"))
    return found
