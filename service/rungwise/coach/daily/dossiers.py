"""Dossiers of clients, loaded in a handful of queries for any number of them."""

import logging
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime
from typing import TypeVar
from zoneinfo import ZoneInfo

from sqlmodel import Session

from rungwise.coach.alerting.page_test import unreached
from rungwise.coach.conversation.dossier import (
    Dossier,
    LastPrompt,
    Standing,
)
from rungwise.coach.conversation.evolve import OUR_TEXTS_KEPT
from rungwise.coach.daily.dossier_rows import (
    Sent,
    alerts_of,
    asked_of,
    due_of_clients,
    last_prompts,
    prompted_of,
    reports_of,
    sent_lately,
    standings,
    trainer_names,
    went_back,
)
from rungwise.coach.record.clearance import is_cleared
from rungwise.coach.record.picture_link import drawn_address
from rungwise.coach.record.situation import read_pasts
from rungwise.coach.record.wording import called_of, crisis_of, wording_of
from rungwise.concepts.client_states import State
from rungwise.ladder.absence import surely_here
from rungwise.store.deferred_writes import write_now
from rungwise.store.salvage import undecodable
from rungwise.store.tables import (
    Client,
    Message,
    Practice,
)
from rungwise.ticks.due import quiet_between

log = logging.getLogger(__name__)

Row = TypeVar("Row")
# Shorter than any text of ours with what a phone puts around it.
SHORTEST_QUOTE = 40


def load_many(
    session: Session,
    now: datetime,
    clients: Sequence[Client],
    *,
    quoted: bool = False,
    prompted: Mapping[int, date] | None = None,
) -> Mapping[int, Dossier]:
    """Each client's dossier, by id.

    `quoted` loads the bodies of our latest texts too. `prompted` are the dates for which clients
    are about to get the day's text: they get a picture's address where their plan has one, and the
    past of who is surely not away by then is left out.
    """
    if not clients:
        return {}
    session.flush()
    write_now(session)  # the plain statements below don't
    found = _Found(session, now, tuple(clients), quoted=quoted, prompted=prompted)
    return {client.id: found.dossier(client) for client in clients}


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
        questions=_readable(lambda: asked_of(session, [client.id])[client.id]),
        alerts=_readable(lambda: alerts_of(session, [client.id])[client.id]),
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


class _Found:
    """What the database has about these clients, by client."""

    def __init__(
        self,
        session: Session,
        now: datetime,
        clients: Sequence[Client],
        *,
        quoted: bool,
        prompted: Mapping[int, date] | None,
    ) -> None:
        ids = sorted(client.id for client in clients)
        self.session, self.now, self.quoted = session, now, quoted
        self.prompted = prompted
        self.practices = _practices(session, clients)
        self.trainers = trainer_names(session, clients)
        lengths = {each.id: self.practices[each.practice_id].measures.lengths for each in clients}
        self.standings = standings(session, lengths)
        self.questions = asked_of(session, ids)
        self.alerts = alerts_of(session, ids)
        self.sent = sent_lately(session, now, ids, bodies=quoted)
        self.reports = reports_of(session, now, ids)
        self.last_prompts = last_prompts(session, ids)
        self.prompts = prompted_of(session, ids)
        self.due = due_of_clients(session, ids)
        placed = [client_id for client_id in ids if client_id in self.standings]
        self.pasts = read_pasts(session, self._maybe_away(placed))

    def _maybe_away(self, ids: Sequence[int]) -> Sequence[int]:
        """Those of whom the past matters: all, but for the day's texts only who may be away."""
        if self.prompted is None or not ids:
            return ids
        back = went_back(self.session, ids)
        return [
            each
            for each in ids
            if each not in self.prompted
            or each in back
            or not _surely_here(self.standings[each], self.prompted[each])
        ]

    def dossier(self, client: Client) -> Dossier:
        practice = self.practices[client.practice_id]
        standing, sent = self.standings.get(client.id), self.sent[client.id]
        prompts = self.prompts[client.id]
        today = self.now.astimezone(ZoneInfo(client.time_zone)).date()
        picture = ""
        if standing is not None and self.prompted is not None and client.id in self.prompted:
            picture = drawn_address(practice, standing.settings)
        return Dossier(
            client_id=client.id,
            called=client.called,
            trainer=called_of(self.trainers[client.trainer_id]),
            practice=practice.name,
            number=practice.emergency_number,
            crisis=crisis_of(practice),
            language=client.language,
            second_reader=practice.second_reader,
            zone=client.time_zone,
            state=client.state,
            stopped_from=client.stopped_from,
            standing=standing,
            past=self.pasts.get(client.id, ()),
            reports=self.reports[client.id] if standing is not None else {},
            questions=self.questions[client.id],
            prompt=_prompt(self.last_prompts.get(client.id), sent),
            alerts=self.alerts[client.id],
            usual_pain=standing.settings.usual_pain if standing is not None else None,
            wording=wording_of(self.session, practice.id, client.language),
            quiet=quiet_between(practice.texts_until, practice.texts_from),
            clock=practice.clock,
            unread_run=client.unreadable_run,
            may_begin=client.state != State.INVITED or _may_begin(self.session, client),
            our_texts=tuple(each.body for each in sent[:OUR_TEXTS_KEPT]) if self.quoted else (),
            said=_said_on(today, client, sent),
            picture=picture,
            prompted_on=prompts.last,
            prompted_key=prompts.last_key,
            prompts_unanswered=prompts.unanswered,
            due=self.due[client.id],
        )


def _practices(session: Session, clients: Sequence[Client]) -> Mapping[int, Practice]:
    ids = {client.practice_id for client in clients}
    return {each: session.get_one(Practice, each) for each in ids}


def _surely_here(standing: Standing, day: date) -> bool:
    return surely_here(standing.settings.plan(resting=False), (), standing.since, day)


def _may_begin(session: Session, client: Client) -> bool:
    return is_cleared(session, client.id) and not unreached(session, client)


def _said_on(day: date, client: Client, sent: Sequence[Sent]) -> frozenset[str]:
    """The names of the texts that went to the client on this local date."""
    zone = ZoneInfo(client.time_zone)
    return frozenset(
        each.name for each in sent if each.name and each.at.astimezone(zone).date() == day
    )


def our_texts_before(session: Session, message: Message) -> tuple[str, ...]:
    """What a phone may have quoted when this text came, as `load_many` gave it then."""
    if message.client_id is None or len(message.body) < SHORTEST_QUOTE:
        return ()
    sent = sent_lately(session, message.created_at, [message.client_id], bodies=True)
    earlier = (each.body for each in sent[message.client_id] if each.id < message.id)
    return tuple(earlier)[:OUR_TEXTS_KEPT]


def _prompt(last: tuple[int, LastPrompt] | None, sent: Sequence[Sent]) -> LastPrompt | None:
    """The latest text that asked for practice: the day's, or an easier one in its place."""
    if last is None:
        return None
    number, prompt = last
    instead = next((each for each in sent if each.rung_key and each.id > number), None)
    return prompt if instead is None else replace(prompt, rung_key=instead.rung_key)
