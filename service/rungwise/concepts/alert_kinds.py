"""The kinds of alert: what a trainer must see, how soon, and what one of the kind asks of them.

The words for people stand in wording/texts_*.toml under [alerts].
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum


class Urgency(StrEnum):
    """How soon: `urgent` pages somebody now, `today` waits for the inbox, `note` is to be read."""

    URGENT = "urgent"
    TODAY = "today"
    NOTE = "note"


# Gravest first.
URGENCIES: tuple[str, ...] = tuple(Urgency)


def gravest(urgencies: "tuple[str, ...] | list[str]") -> str | None:
    """The most urgent of these; None of none."""
    return min(urgencies, key=URGENCIES.index, default=None)


@dataclass(frozen=True, slots=True)
class AlertRow:
    """`urgency` when nothing else says otherwise; `rests`: the client practises again only when the
    trainer says where; `sign`: it belongs to the client's incident, whatever its urgency; `visit`:
    the client should be seen until it is handled; `repeats`: a second one of the kind while the
    first is open is for today.
    """

    urgency: Urgency
    rests: bool = False
    sign: bool = False
    visit: bool = False
    repeats: bool = False


# Gravest first, as a page names them when several are open.
ALERTS: Mapping[str, AlertRow] = {
    "emergency": AlertRow(Urgency.URGENT, rests=True, sign=True, visit=True),
    "distress": AlertRow(Urgency.URGENT, rests=True, sign=True),
    "fall": AlertRow(Urgency.URGENT, rests=True, sign=True, visit=True),
    "dizziness": AlertRow(Urgency.URGENT, rests=True, sign=True),
    "pain": AlertRow(Urgency.URGENT, rests=True, sign=True),
    "near_fall": AlertRow(Urgency.TODAY, rests=True, sign=True, visit=True),
    "help": AlertRow(Urgency.TODAY, sign=True),
    "health_news": AlertRow(Urgency.TODAY, rests=True, sign=True),
    "undeliverable": AlertRow(Urgency.TODAY),
    "opted_out": AlertRow(Urgency.TODAY),
    "call_me": AlertRow(Urgency.TODAY),
    "life_news": AlertRow(Urgency.TODAY),
    "silence": AlertRow(Urgency.TODAY),
    "away": AlertRow(Urgency.TODAY, rests=True),
    "stuck": AlertRow(Urgency.TODAY),
    "gate_reached": AlertRow(Urgency.TODAY),
    "held_back": AlertRow(Urgency.TODAY),
    "auto_answers": AlertRow(Urgency.TODAY),
    "unsafe": AlertRow(Urgency.NOTE, repeats=True),
    "request": AlertRow(Urgency.NOTE, repeats=True),
    "unread": AlertRow(Urgency.NOTE, repeats=True),
    "retest_due": AlertRow(Urgency.NOTE),
}
ALERT_KINDS: tuple[str, ...] = tuple(ALERTS)
# A client resting for one of these practises again only when the trainer says where.
RESTING_KINDS = frozenset(kind for kind, row in ALERTS.items() if row.rests)
SIGN_KINDS = frozenset(kind for kind, row in ALERTS.items() if row.sign)
VISIT_KINDS = frozenset(kind for kind, row in ALERTS.items() if row.visit)
