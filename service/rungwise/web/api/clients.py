"""Clients: going through them, one of them, adding one, their ladder, reports and texts."""

from functools import partial
from typing import Annotated, Literal

from fastapi import APIRouter, Depends, Response
from sqlmodel import Session

from rungwise.coach.alerting.page_test import not_answered
from rungwise.coach.enrolment.intake import add_from
from rungwise.coach.enrolment.intake_form import FIELDS, Draft, read_intake
from rungwise.coach.record.access import client_of
from rungwise.coach.record.fields import Unfinished
from rungwise.coach.record.situation import load
from rungwise.store.due import due_of
from rungwise.store.queries import pagination
from rungwise.store.queries.banner_counts import Scope
from rungwise.store.tables import Client
from rungwise.web.api.caller import Caller, Id, Needs, placed
from rungwise.web.api.pagination import Cursor, Limit, Page, last_id, page_of
from rungwise.web.api.problems import LookedAtOther
from rungwise.web.api.shapes import (
    ClientOut,
    IntakeGiven,
    MessageOut,
    NewClientGiven,
    OneClientOut,
    PlanOut,
    PreviewOut,
    ReportOut,
    RungOut,
    State,
)
from rungwise.web.api.writes import Done, Key, once
from rungwise.web.clients.client_page import RungNames
from rungwise.web.clients.intake import what_follows
from rungwise.wording.rung_words import rung_short

router = APIRouter(tags=["clients"])

Reading = Annotated[Caller, Depends(Needs("clients:read"))]
Adding = Annotated[Caller, Depends(Needs("clients:write"))]
UNKNOWN_FIELD = "There is no such field."


@router.get("/clients")
def clients(
    called: Reading,
    state: State | Literal["any"] = "any",
    limit: Limit = 50,
    cursor: Cursor = "",
) -> Page[ClientOut]:
    """The clients this token sees, in the order they were added."""
    with called.parts.store.read() as session:
        rows = pagination.clients_after(
            session,
            Scope.of(called.trainer),
            limit + 1,
            last_id(cursor) or 0,
            "" if state == "any" else state,
        )
    lengths = called.practice.measures.lengths
    shown = partial(ClientOut.listed, lengths=lengths)
    return page_of(rows, limit, lambda row: row.client.id, shown)


@router.get("/clients/{client_id}")
def one_client(called: Reading, client_id: Id) -> OneClientOut:
    """One client with the plan."""
    with called.parts.store.read() as session:
        return client_out(session, client_of(session, called.trainer, client_id))


def client_out(session: Session, client: Client) -> OneClientOut:
    situation = load(session, client)
    due = due_of(session, "prompt", client.id)
    rung = None
    if situation is not None:
        key = situation.placement.rung_key
        rung = RungOut(key=key, words=RungNames(situation)(key))
    shown = ClientOut.of(client, rung, due.at if due else None)
    plan = PlanOut.of(situation) if situation else None
    return OneClientOut(**shown.model_dump(), plan=plan)


@router.get("/clients/{client_id}/ladder")
def ladder(called: Reading, client_id: Id) -> list[RungOut]:
    """The client's own rungs, easiest first: what an override can name."""
    with called.parts.store.read() as session:
        situation = placed(session, called, client_id)
    lengths = situation.lengths
    return [
        RungOut(key=rung.key, words=rung_short(rung, lengths=lengths))
        for rung in situation.ladder.rungs
    ]


@router.post("/clients/preview")
def preview(called: Adding, given: IntakeGiven) -> PreviewOut:
    """What would follow from a new client's form; nothing is stored.

    Show it to whoever answers for the client. Its `seen` then goes with POST /clients.
    """
    _only_fields(given)
    try:
        return _look(called, given)[1]
    except Unfinished as unfinished:
        return PreviewOut(problems=dict(unfinished.problems))


def _only_fields(given: IntakeGiven) -> None:
    strange = sorted(set(given.fields) - set(FIELDS))
    if strange:
        raise Unfinished(dict.fromkeys(strange, UNKNOWN_FIELD))


def _look(called: Caller, given: IntakeGiven) -> tuple[Draft, PreviewOut]:
    draft = read_intake(given.fields, called.practice, unreached=not_answered(called.trainer))
    with called.parts.store.read() as session:
        follows = what_follows(session, called.practice, draft)
    return draft, PreviewOut(
        outcome=draft.outcome,
        begins=draft.begins,
        reasons=list(draft.holding),
        waits_for=list(draft.waits_for),
        rung=RungOut(
            key=draft.rung.key,
            words=rung_short(draft.rung, lengths=called.practice.measures.lengths),
        ),
        first_text=follows.first_text,
        task_text=follows.task_text,
        seen=follows.seen,
    )


@router.post("/clients", status_code=201, response_model=OneClientOut)
def add(called: Adding, key: Key, given: NewClientGiven) -> Response:
    """Add a client, after what follows was looked at. The first text goes if nothing holds it."""

    _only_fields(given)

    def act(session: Session) -> Done:
        try:
            draft, follows = _look(called, given)
        except Unfinished as unfinished:
            raise LookedAtOther(unfinished.problems) from unfinished
        if follows.seen != given.seen:
            raise LookedAtOther
        client = add_from(session, called.now, called.trainer, draft)
        session.flush()
        return Done(client_out(session, client), client.id, 201)

    return once(called, key, "add client", given.model_dump(), act)


@router.get("/clients/{client_id}/reports")
def reports(
    called: Annotated[Caller, Depends(Needs("reports:read"))],
    client_id: Id,
    limit: Limit = 50,
    cursor: Cursor = "",
) -> Page[ReportOut]:
    """What the client reported, latest first, with the move made of each."""
    with called.parts.store.read() as session:
        client = client_of(session, called.trainer, client_id)
        rows = pagination.reports_before(session, client.id, limit + 1, last_id(cursor))
    return page_of(rows, limit, lambda row: row[0].id, ReportOut.of)


@router.get("/clients/{client_id}/messages")
def messages(
    called: Annotated[Caller, Depends(Needs("messages:read"))],
    client_id: Id,
    limit: Limit = 50,
    cursor: Cursor = "",
) -> Page[MessageOut]:
    """The texts with the client, latest first."""
    with called.parts.store.read() as session:
        client = client_of(session, called.trainer, client_id)
        rows = pagination.messages_before(session, client.id, limit + 1, last_id(cursor))
    return page_of(rows, limit, lambda row: row.id, MessageOut.model_validate)
