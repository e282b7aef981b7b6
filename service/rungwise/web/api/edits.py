"""A client's facts after the intake: what they are, what a change leads to, and changing them."""

from typing import Annotated

from fastapi import APIRouter, Depends, Response
from sqlmodel import Session

from rungwise.coach.enrolment.edit_client import SeenOther, edit_client, facts_of, look_at_edit
from rungwise.coach.enrolment.facts import FIELDS, UNKNOWN_FIELD, told
from rungwise.coach.record.access import client_of
from rungwise.coach.record.fields import Unfinished
from rungwise.web.api.caller import Caller, Id, Needs
from rungwise.web.api.clients import client_out
from rungwise.web.api.edit_shapes import (
    EditFollowsOut,
    EditGiven,
    FactsGiven,
    FactsOut,
    TextToldOut,
)
from rungwise.web.api.problems import LookedAtOther
from rungwise.web.api.shapes import OneClientOut
from rungwise.web.api.writes import Done, Key, once

router = APIRouter(tags=["clients"])

Reading = Annotated[Caller, Depends(Needs("clients:read"))]
Changing = Annotated[Caller, Depends(Needs("clients:write"))]


@router.get("/clients/{client_id}/facts")
def facts(called: Reading, client_id: Id) -> FactsOut:
    """Everything of a client that can be changed after the intake, each fact as a string."""
    with called.parts.store.read() as session:
        client = client_of(session, called.trainer, client_id)
        return FactsOut(fields=told(facts_of(session, client)), version=client.version)


@router.post("/clients/{client_id}/preview")
def preview_edit(called: Changing, client_id: Id, given: FactsGiven) -> EditFollowsOut:
    """What would follow from changed facts; nothing is stored.

    Show it to whoever answers for the client. Its `seen` then goes with the PATCH.
    """
    _only_facts(given)
    with called.parts.store.read() as session:
        client = client_of(session, called.trainer, client_id)
        try:
            follows = look_at_edit(session, called.now, called.trainer, client, given.fields)
        except Unfinished as unfinished:
            return EditFollowsOut(problems=unfinished.problems)
    return EditFollowsOut(
        changed={name: list(two) for name, two in follows.changed.items()},
        follows=list(follows.sentences),
        texts=[TextToldOut.model_validate(text) for text in follows.texts],
        version=follows.version,
        seen=follows.seen,
    )


def _only_facts(given: FactsGiven) -> None:
    strange = sorted(set(given.fields) - set(FIELDS))
    if strange:
        raise Unfinished(dict.fromkeys(strange, UNKNOWN_FIELD))


@router.patch("/clients/{client_id}", response_model=OneClientOut)
def edit(called: Changing, client_id: Id, key: Key, given: EditGiven) -> Response:
    """Change facts of the client, after what follows was looked at. What is not named stays.

    A new phone is asked first: until it has answered YES, texts go on to the old one.
    """
    _only_facts(given)

    def act(session: Session) -> Done:
        client = client_of(session, called.trainer, client_id)
        version, seen = given.version, given.seen
        try:
            edit_client(
                session,
                called.now,
                called.trainer,
                client,
                given.fields,
                version=version,
                seen=seen,
            )
        except Unfinished as unfinished:
            raise LookedAtOther(unfinished.problems) from unfinished
        except SeenOther as other:
            raise LookedAtOther from other
        return Done(client_out(session, client), client_id)

    return once(called, key, f"edit client {client_id}", given.model_dump(), act)
