"""About the call itself: what the token may do, and what a kind of problem means."""

from typing import Annotated

from fastapi import APIRouter, Depends, Path, Request
from fastapi.responses import PlainTextResponse

from rungwise.errors import NotFound
from rungwise.web.api.caller import Caller, Needs
from rungwise.web.api.problems import sentence_of
from rungwise.web.api.shapes import Described, TokenOut

router = APIRouter()


@router.get("/token", tags=["token"])
def token(called: Annotated[Caller, Depends(Needs(None))]) -> TokenOut:
    """What this token may do."""
    return TokenOut(
        name=called.token.name,
        practice=called.practice.name,
        trainer_id=called.trainer.id,
        whole_practice=called.trainer.role == "lead",
        scopes=called.token.scopes,
        expires_at=called.token.expires_at,
        per_minute=called.parts.settings.api_per_minute,
    )


@router.get("/openapi.json", tags=["token"])
def description(_called: Annotated[Caller, Depends(Needs(None))], request: Request) -> Described:
    """This description, as OpenAPI 3.1."""
    return Described(request.app.state.described())


@router.get("/problems/{kind}", tags=["token"], response_class=PlainTextResponse)
def kind_of_problem(kind: Annotated[str, Path(max_length=40)]) -> PlainTextResponse:
    """What a kind of problem means, in a sentence. Needs no token."""
    told = sentence_of(kind)
    if told is None:
        raise NotFound("There is no such kind of problem.")
    return PlainTextResponse(f"{told}\n")
