"""What would it answer? A conversation with an invented client, played in memory."""

import re
from collections.abc import Sequence

from fastapi import APIRouter, Response

from rungwise.coach.conversation.rehearsal import Conversation, Heard, Turn, rehearse
from rungwise.errors import ServiceError
from rungwise.reply.lines import explained
from rungwise.web.http.auth import Signed, Visit
from rungwise.web.http.forms import FieldsHere
from rungwise.web.ui.layout import framed
from rungwise.wording.texts import LANGUAGES

router = APIRouter()

MOST_TEXTS, LONGEST_TEXT = 12, 480
MOST_MINUTES = 60 * 24 * 60
FIRST_AFTER_MIN, NEXT_AFTER_MIN = 15, 2
# "90: and later" lets so many minutes pass before the text.
_AFTER = re.compile(r"\s*(\d{1,6}):\s?(.*)")


class NotToBePlayed(ServiceError):
    """What was typed is no conversation to play."""


@router.get("/practice/rehearsal")
def ask(visit: Signed) -> Response:
    return _page(visit, {})


@router.post("/practice/rehearsal")
def play(visit: Signed, fields: FieldsHere) -> Response:
    """Plays what is typed, and stores nothing."""
    try:
        conversation = Conversation(
            turns=turns_typed(fields.get("texts", "")),
            language=fields.get("language", "en") if fields.get("language") in LANGUAGES else "en",
            sided=fields.get("sided") == "yes",
            country=visit.practice.country,
        )
    except NotToBePlayed as refused:
        return _page(visit, fields, problem=str(refused))
    return _page(visit, fields, list(rehearse(conversation)))


def turns_typed(typed: str) -> list[Turn]:
    """The client's texts, one a line. NotToBePlayed says what is wrong with them."""
    lines = [line for line in typed.splitlines() if line.strip()]
    if not lines:
        raise NotToBePlayed("Type what the client texts, one text a line.")
    if len(lines) > MOST_TEXTS:
        raise NotToBePlayed(f"At most {MOST_TEXTS} texts at a time: take some out.")
    turns: list[Turn] = []
    for line in lines:
        waited = _AFTER.fullmatch(line)
        after = NEXT_AFTER_MIN if turns else FIRST_AFTER_MIN
        said = line.strip()
        if waited is not None:
            after, said = int(waited[1]), waited[2].strip()
        if after > MOST_MINUTES:
            raise NotToBePlayed("Let at most 60 days pass before a text: 86400 minutes.")
        if len(said) > LONGEST_TEXT:
            raise NotToBePlayed(f"A text here has at most {LONGEST_TEXT} characters.")
        turns.append(Turn(after, said or None))
    return turns


def _page(
    visit: Visit, given: dict[str, str], heard: Sequence[Heard] = (), problem: str = ""
) -> Response:
    with visit.parts.store.read() as session:
        return framed(
            visit,
            session,
            "rehearsal.html",
            status=400 if problem else 200,
            given={"texts": "", "language": "en", "sided": "", **given},
            problem=problem,
            languages=LANGUAGES,
            played=[(each, each.as_json(), _understood(each)) for each in heard],
        )


def _understood(heard: Heard) -> list[str]:
    """What was understood of a text, a line a field, without the text itself."""
    if heard.reading is None or heard.said is None:
        return []
    return [line.strip() for line in explained(heard.said, heard.reading).splitlines()[1:]]
