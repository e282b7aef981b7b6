"""Which practice a text is for: whose number it came to, or else whose client wrote it."""

import logging
from collections.abc import Sequence
from dataclasses import dataclass, replace

from sqlmodel import Session

from rungwise.carriers.base import InboundText
from rungwise.coach.outbox.sender_numbers import (
    first_practice,
    practice_at,
    practices_of_sender,
)
from rungwise.store.tables import Practice

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Arrival:
    """A text that a carrier brought."""

    carrier: str
    text: InboundText


@dataclass(frozen=True, slots=True)
class Addressed:
    """A text, and a practice that it may be for; `sure` when it surely is."""

    arrival: Arrival
    practice: Practice
    sure: bool = True
    first: bool = True


def addressed_to(session: Session, arrivals: Sequence[Arrival]) -> list[Addressed]:
    """Whom each text is for: whose number it came to, else whose client wrote it.

    Where that leaves several practices, each gets the text, and none acts on it as if it were sure.
    """
    owners = {phone: practice_at(session, phone) for phone in _numbers(arrivals)}
    found = []
    for each in arrivals:
        owner = owners[each.text.to_phone]
        if owner is not None:
            found.append(Addressed(each, owner))
            continue
        log.error("a text came to a number that is no practice's")
        practices = practices_of_sender(session, each.text.from_phone)
        for place, practice in enumerate(practices or [first_practice(session)]):
            # A row of its own for each, under the same id whenever the carrier repeats it.
            carrier_id = each.text.carrier_id + (f"#{practice.id}" if place else "")
            text = replace(each.text, carrier_id=carrier_id)
            sure = len(practices) < 2  # a second would make it a guess
            found.append(Addressed(Arrival(each.carrier, text), practice, sure, place == 0))
    return found


def _numbers(arrivals: Sequence[Arrival]) -> list[str]:
    return sorted({arrival.text.to_phone for arrival in arrivals})
