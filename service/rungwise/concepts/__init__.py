"""One frozen table a concept: signs, questions, answers, alerts, texts, dues, states of a client.

Every other list of their members is derived from these rows. To add a member is to add a row and
its texts.
"""

from rungwise.concepts.alert_kinds import ALERT_KINDS, ALERTS, RESTING_KINDS, URGENCIES, Urgency
from rungwise.concepts.answers import ANSWERS, Outcome
from rungwise.concepts.client_states import MOVES, By, State, moved
from rungwise.concepts.due_kinds import DUE_KINDS, OF_CLIENTS
from rungwise.concepts.measures import Lengths, Measures, usual
from rungwise.concepts.questions import DOUBTS, QUESTIONS, SAFETY
from rungwise.concepts.signs import SIGNS
from rungwise.concepts.text_kinds import TEXT_KINDS

__all__ = [
    "ALERTS",
    "ALERT_KINDS",
    "ANSWERS",
    "DOUBTS",
    "DUE_KINDS",
    "MOVES",
    "OF_CLIENTS",
    "QUESTIONS",
    "RESTING_KINDS",
    "SAFETY",
    "SIGNS",
    "TEXT_KINDS",
    "URGENCIES",
    "By",
    "Lengths",
    "Measures",
    "Outcome",
    "State",
    "Urgency",
    "moved",
    "usual",
]
