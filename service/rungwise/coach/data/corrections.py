"""Texts that trainers put right, for whoever maintains the corpora: without names and numbers.

What the words, the context and both readings say stays; whose they are goes. A service learns
nothing from them by itself.
"""

import re
from collections.abc import Collection, Iterator
from typing import Any

from sqlmodel import Session, col, select

from rungwise.coach.record.codec import reading_from_json
from rungwise.coach.record.told import CORRECTION, TOLD
from rungwise.reply.lexicon import lexicon
from rungwise.reply.lines import as_json
from rungwise.reply.units import parse
from rungwise.store.tables import Client, HomeSetup, Message, Practice, Trainer

NAME, NUMBER = "NAME", "NUMBER"
# A phone's number or a house's, however it is parted: no hold has four digits together.
_NUMBERS = re.compile(
    r"\S+@\S+|\w+://\S+|\+\d[\d\s().-]*\d|\(?\b\d{3}\)?[\s.-]\d{3}[\s.-]\d{4}\b"
    r"|\b0\d{2,4}[\s.-]\d{3,4}[\s.-]?\d{3,4}\b|\b0\d(?:[\s.-]\d{2}){4}\b|\d{4,}"
)
_WORD = re.compile(r"[^\W\d_]{2,}")
# What quotes the text, or says how sure the reader was.
_LEFT_OUT = ("because", "confidence", "own_words")


def corrections(session: Session) -> Iterator[dict[str, Any]]:
    """Each text that was put right, oldest first, as it was put right last.

    With its words, the context it was read in, what it was read as and what it should have been.
    """
    rows = select(Message).where(Message.direction == TOLD, Message.kind == CORRECTION)
    latest = {row.answers_id: row for row in session.exec(rows.order_by(col(Message.id))).all()}
    for row in latest.values():
        text = session.get(Message, row.answers_id)
        if text is None or text.removed_at is not None or text.reading is None:
            continue
        names = _names(session, text)
        language = (text.context or {}).get("language", "en")
        yield {
            "text": without_names(text.body, language, names),
            "context": {name: value for name, value in (text.context or {}).items() if value},
            "reader_version": text.reader_version,
            "read": _read(text.reading),
            "should": _read(row.reading or {}),
        }


def _read(stored: dict[str, Any]) -> dict[str, Any]:
    shown = as_json("", reading_from_json({**stored, "because": {}}))
    return {name: value for name, value in shown.items() if name not in _LEFT_OUT}


def _names(session: Session, text: Message) -> set[str]:
    """Every name that the service knows around this client."""
    client = session.get(Client, text.client_id)
    practice = session.get_one(Practice, text.practice_id)
    known = [practice.name]
    if client is not None:
        known += [client.name, client.called, client.kin_name or ""]
        homes = select(HomeSetup.someone).where(HomeSetup.client_id == client.id)
        known += [someone for someone in session.exec(homes).all() if someone]
    rows = select(Trainer).where(Trainer.practice_id == practice.id)
    for trainer in session.exec(rows).all():
        known += [trainer.name, trainer.second_contact_name or ""]
    return {word.casefold() for name in known for word in _WORD.findall(name)}


def without_names(body: str, language: str, names: Collection[str]) -> str:
    """The text with known names, capitalised words that no list knows, and numbers taken out."""
    words = lexicon(language)
    parsed = parse(body, words)
    spans = [
        parsed.span(place, place)
        for place, unit in enumerate(parsed.units)
        if "unknown" in unit.tags and parsed.capital(place)
    ]
    found = [(span.start, span.end, NAME) for span in spans]
    known = {name for name in names if len(name) > 1}
    found += [
        (word.start(), word.end(), NAME)
        for word in _WORD.finditer(body)
        if word[0].casefold() in known
    ]
    found += [(one.start(), one.end(), NUMBER) for one in _NUMBERS.finditer(body)]
    made, at = [], 0
    for start, end, instead in sorted(found, key=lambda one: (one[0], -one[1])):
        if start >= at:
            made.append(body[at:start] + instead)
        at = max(at, end)
    return "".join(made) + body[at:]
