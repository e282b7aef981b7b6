"""Dossiers of clients, loaded in a handful of queries for any number of them."""

import logging
from collections.abc import Callable, Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import TypeVar
from zoneinfo import ZoneInfo

from sqlmodel import Session, col, select

from rungwise.coach.alerting.page_test import unreached
from rungwise.coach.conversation.dossier import (
    Dossier,
    LastPrompt,
    OpenAlert,
    OpenQuestion,
    Standing,
)
from rungwise.coach.conversation.evolve import OUR_TEXTS_KEPT
from rungwise.coach.record.clearance import is_cleared
from rungwise.coach.record.codec import report_from_json
from rungwise.coach.record.questions import open_questions
from rungwise.coach.record.situation import (
    Situation,
    current_reports,
    last_prompt,
    load,
    past,
)
from rungwise.coach.record.wording import crisis_of, trainer_called, wording_of
from rungwise.concepts.client_states import State
from rungwise.ladder.day import DayReport
from rungwise.store.salvage import undecodable
from rungwise.store.tables import Alert, Client, Message, Practice
from rungwise.ticks.due import quiet_between

log = logging.getLogger(__name__)

Row = TypeVar("Row")
# Of what we sent in this time a phone may quote a text, and courtesy is said once.
LATELY = timedelta(hours=36)
# Shorter than any text of ours with what a phone puts around it.
SHORTEST_QUOTE = 40


def load_many(
    session: Session, now: datetime, clients: Sequence[Client], *, quoted: bool = False
) -> Mapping[int, Dossier]:
    """Each client's dossier, by id; `quoted` loads the bodies of our latest texts too."""
    ids = [client.id for client in clients]
    alerts = _open_alerts(session, ids)
    sent = _sent_lately(session, now, ids)
    return {
        client.id: _dossier(session, now, client, alerts[client.id], sent[client.id], quoted=quoted)
        for client in clients
    }


def load_bare(session: Session, practice: Practice, client: Client) -> Dossier:
    """What is known without the plan and the past: enough to hear a sign of harm, or STOP.

    For a client of whom a stored value is broken, and where nothing more is needed.
    """
    return Dossier(
        client_id=client.id,
        called=client.called,
        trainer="",
        practice=practice.name,
        number=practice.emergency_number,
        crisis=crisis_of(practice),
        language=client.language,
        second_reader=practice.second_reader,
        zone="UTC",
        state=client.state,
        stopped_from=client.stopped_from,
        questions=_readable(lambda: _questions(session, client.id)),
        alerts=_readable(lambda: tuple(_open_alerts(session, [client.id])[client.id])),
    )


def _readable(load: Callable[[], tuple[Row, ...]]) -> tuple[Row, ...]:
    """What was loaded; nothing where a stored value cannot be read."""
    try:
        return load()
    except Exception as problem:
        if not undecodable(problem):
            raise
        log.exception("what is open for a client cannot be read")
        return ()


def _questions(session: Session, client_id: int) -> tuple[OpenQuestion, ...]:
    return tuple(
        OpenQuestion(row.kind, row.local_date, row.asked_at, row.unclear, row.id, row.since)
        for row in open_questions(session, client_id)
    )


def _open_alerts(session: Session, ids: Sequence[int]) -> Mapping[int, list[OpenAlert]]:
    rows = select(Alert.client_id, Alert.kind, Alert.urgency, Alert.state).where(
        col(Alert.client_id).in_(ids), Alert.state != "handled"
    )
    found: dict[int, list[OpenAlert]] = {client_id: [] for client_id in ids}
    for client_id, kind, urgency, state in session.exec(rows.order_by(col(Alert.id))).all():
        found[client_id].append(OpenAlert(kind, urgency, state == "seen"))
    return found


def _sent_lately(
    session: Session, now: datetime, ids: Sequence[int]
) -> Mapping[int, list[Message]]:
    """What left or waits of our latest texts, newest first."""
    rows = (
        select(Message)
        .where(
            col(Message.client_id).in_(ids),
            Message.direction == "out",
            Message.created_at > now - LATELY,
            col(Message.state).not_in(("missed", "cancelled")),
        )
        .order_by(col(Message.id).desc())
    )
    found: dict[int, list[Message]] = {client_id: [] for client_id in ids}
    for message in session.exec(rows).all():
        found[message.client_id or 0].append(message)
    return found


def _dossier(
    session: Session,
    now: datetime,
    client: Client,
    alerts: Sequence[OpenAlert],
    sent: Sequence[Message],
    *,
    quoted: bool,
) -> Dossier:
    practice = session.get_one(Practice, client.practice_id)
    situation = load(session, client)
    today = now.astimezone(ZoneInfo(client.time_zone)).date()
    return Dossier(
        client_id=client.id,
        called=client.called,
        trainer=trainer_called(session, client),
        practice=practice.name,
        number=practice.emergency_number,
        crisis=crisis_of(practice),
        language=client.language,
        second_reader=practice.second_reader,
        zone=client.time_zone,
        state=client.state,
        stopped_from=client.stopped_from,
        standing=_standing(situation),
        past=past(session, client.id) if situation is not None else (),
        reports=_reports(session, now, client.id) if situation is not None else {},
        questions=_questions(session, client.id),
        prompt=_prompt(session, client.id, sent),
        alerts=tuple(alerts),
        usual_pain=situation.settings.usual_pain if situation is not None else None,
        wording=wording_of(session, practice.id, client.language),
        quiet=quiet_between(practice.texts_until, practice.texts_from),
        clock=practice.clock,
        unread_run=client.unreadable_run,
        may_begin=client.state != State.INVITED or _may_begin(session, client),
        our_texts=tuple(each.body for each in sent[:OUR_TEXTS_KEPT]) if quoted else (),
        said=_said_on(today, client, sent),
    )


def _may_begin(session: Session, client: Client) -> bool:
    return is_cleared(session, client.id) and not unreached(session, client)


def _said_on(day: date, client: Client, sent: Sequence[Message]) -> frozenset[str]:
    """The names of the texts that went to the client on this local date."""
    zone = ZoneInfo(client.time_zone)
    return frozenset(
        each.name for each in sent if each.name and each.created_at.astimezone(zone).date() == day
    )


def our_texts_before(session: Session, message: Message) -> tuple[str, ...]:
    """What a phone may have quoted when this text came, as `load_many` gave it then."""
    if message.client_id is None or len(message.body) < SHORTEST_QUOTE:
        return ()
    sent = _sent_lately(session, message.created_at, [message.client_id])[message.client_id]
    earlier = (each.body for each in sent if each.id < message.id)
    return tuple(earlier)[:OUR_TEXTS_KEPT]


def _standing(situation: Situation | None) -> Standing | None:
    if situation is None:
        return None
    placement = situation.placement
    return Standing(
        situation.settings,
        situation.profile,
        placement.rung_key,
        placement.since,
        situation.lengths,
    )


def _reports(session: Session, now: datetime, client_id: int) -> Mapping[date, DayReport]:
    found = current_reports(session, client_id, (now - timedelta(days=4)).date())
    return {row.local_date: report_from_json(row.told) for row in found}


def _prompt(session: Session, client_id: int, sent: Sequence[Message]) -> LastPrompt | None:
    """The latest text that asked for practice: the day's, or an easier one in its place."""
    prompt = last_prompt(session, client_id)
    if prompt is None or prompt.local_date is None:
        return None
    instead = next((each for each in sent if each.rung_key and each.id > prompt.id), None)
    rung_key = instead.rung_key if instead is not None else prompt.rung_key
    return LastPrompt(prompt.local_date, rung_key, prompt.created_at)
