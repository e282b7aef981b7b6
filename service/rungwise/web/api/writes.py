"""Doing something once, however often a program asks: its key, kept with what was answered.

The key is stored in the transaction of what it stands for, so that a request which failed, or a
process which died, leaves neither.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import Header, Response
from fastapi.responses import JSONResponse
from pydantic import BaseModel
from sqlalchemy import delete
from sqlmodel import Session, col, select

from rungwise.coach.accounts.api_tokens import ACTS_KEPT
from rungwise.coach.record.audit import record
from rungwise.store.idempotent_inserts import insert_once
from rungwise.store.tables import ApiAct
from rungwise.web.api.caller import Caller
from rungwise.web.api.problems import KeyReused
from rungwise.web.http.auth import hashed, real_now

REPLAYED = "Idempotency-Replayed"
Key = Annotated[
    str,
    Header(
        alias="Idempotency-Key",
        min_length=8,
        max_length=64,
        pattern=r"^[A-Za-z0-9._:-]+$",
        description="Drawn anew for each action, such as a UUID. The same key again within 24 "
        "hours gives the first answer and does nothing.",
    ),
]


@dataclass(frozen=True, slots=True)
class Done:
    """What an action answers, and whom it was about."""

    answer: BaseModel
    client_id: int
    status: int = 200


def once(
    called: Caller, key: str, did: str, asked: dict[str, Any], act: Callable[[Session], Done]
) -> Response:
    """Do `act` in one transaction unless it was done under this key, and answer.

    `did` names the action and `asked` holds all that it depends on; KeyReused when the key stands
    for another.
    """
    now = real_now(called.parts)
    with called.parts.store.write() as session:
        mine = col(ApiAct.token_id) == called.token.id
        session.execute(delete(ApiAct).where(mine, col(ApiAct.at) < now - ACTS_KEPT))
        values = {
            "token_id": called.token.id,
            "key_hash": hashed(key),
            "request_hash": hashed(f"{did} {sorted(asked.items())!r}"),
            "status": 0,
            "at": now,
        }
        row = insert_once(session, ApiAct, ["token_id", "key_hash"], values)
        if row is None:
            return _again(session, called, values)
        done = act(session)
        row.client_id, row.status = done.client_id, done.status
        row.answer = done.answer.model_dump(mode="json")
        session.add(row)
        record(
            session,
            called.now,
            called.trainer,
            "by program",
            client_id=done.client_id,
            token=called.token.id,
            did=did,
        )
        return JSONResponse(row.answer, row.status)


def _again(session: Session, called: Caller, values: dict[str, Any]) -> Response:
    rows = select(ApiAct).where(
        ApiAct.token_id == called.token.id, ApiAct.key_hash == values["key_hash"]
    )
    before = session.exec(rows).one()
    if before.request_hash != values["request_hash"]:
        raise KeyReused
    return JSONResponse(before.answer, before.status, {REPLAYED: "true"})
