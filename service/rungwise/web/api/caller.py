"""Who calls: the token behind a request, whom it acts for, and what it may."""

from dataclasses import dataclass
from datetime import datetime
from typing import Annotated

from fastapi import Depends, Path, Request, Security
from fastapi.security import HTTPAuthorizationCredentials, HTTPBearer
from sqlalchemy import update
from sqlmodel import Session, col

from rungwise.coach.accounts.api_tokens import who_calls
from rungwise.coach.record.access import client_of
from rungwise.coach.record.fields import Unfinished
from rungwise.coach.record.situation import Situation, load
from rungwise.errors import NotFound
from rungwise.parts import Parts
from rungwise.store.tables import ApiToken, Practice, Trainer
from rungwise.web.api.problems import NoToken, ScopeMissing, TooOften
from rungwise.web.http.auth import LARGEST_ID, PartsHere, note_use, real_now, use_is_news

bearer = HTTPBearer(
    scheme_name="token",
    description="A token of the practice's, made by its lead under Practice, Other programs.",
    auto_error=False,
)
Id = Annotated[int, Path(ge=1, le=LARGEST_ID)]


def only_known(request: Request) -> None:
    """Unfinished for a query that the route does not know: misspelt, it would change nothing."""
    known = {field.alias for field in request.scope["route"].dependant.query_params}
    strange = sorted(set(request.query_params) - known)
    if strange:
        raise Unfinished(dict.fromkeys(strange, "There is no such thing to ask for here."))


@dataclass(frozen=True, slots=True)
class Caller:
    """One request of another program. `now` is the service's clock, in UTC."""

    parts: Parts
    now: datetime
    token: ApiToken
    trainer: Trainer
    practice: Practice


def caller(
    request: Request,
    parts: PartsHere,
    given: Annotated[HTTPAuthorizationCredentials | None, Security(bearer)],
) -> Caller:
    """NoToken, or TooOften, unless the token works and has calls left."""
    now = real_now(parts)
    with parts.store.read() as session:
        found = who_calls(session, now, given.credentials) if given is not None else None
    if found is None:
        raise NoToken
    token, trainer, practice = found
    wait_s = request.app.state.limits.wait_s(token.id)
    if wait_s > 0:
        raise TooOften(wait_s)
    if use_is_news(token.last_used_at, now):
        used = update(ApiToken).where(col(ApiToken.id) == token.id).values(last_used_at=now)
        note_use(parts, used)
    return Caller(parts, parts.clock.now(), token, trainer, practice)


class Needs:
    """A caller whose token has this scope; None is for any that works."""

    def __init__(self, scope: str | None) -> None:
        self.scope = scope

    def __call__(self, called: Annotated[Caller, Depends(caller)]) -> Caller:
        if self.scope is not None and self.scope not in called.token.scopes:
            raise ScopeMissing(self.scope)
        return called


def placed(session: Session, called: Caller, client_id: int) -> Situation:
    """The situation of a client with a rung whom the caller may see; NotFound otherwise."""
    situation = load(session, client_of(session, called.trainer, client_id))
    if situation is None:
        raise NotFound("This client has no rung yet.")
    return situation
