"""What a client can be asked, and how long an answer is waited for.

The gravest stands first: of several open questions it alone is asked, the others wait for it.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta

# A question about the day's numbers is stale by the next day; one about a fall never is.
STALE_AFTER = timedelta(hours=20)
DOUBT_WAITS = timedelta(minutes=30)
HELP_WAITS = timedelta(minutes=10)
WEEK_WAITS = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class QuestionRow:
    """`text` asks, `again` asks once more in other words, `unclear` follows a second answer that
    is none. `waits`: how long until nobody's answer is acted on; None waits for ever. `alert`: the
    kind it belongs to. `doubt`: a sign may have been told, and practice is held until it is
    answered.
    """

    text: str
    again: str
    unclear: str
    alert: str | None = None
    waits: timedelta | None = None
    safety: bool = False
    doubt: bool = False


QUESTIONS: Mapping[str, QuestionRow] = {
    "hurt": QuestionRow(
        "ask_hurt", "ask_hurt_again", "hurt_unclear", "help", HELP_WAITS, safety=True, doubt=True
    ),
    "emergency_yes_no": QuestionRow(
        "ask_emergency",
        "ask_emergency_again",
        "doubt_unclear",
        "emergency",
        HELP_WAITS,
        safety=True,
        doubt=True,
    ),
    "fall_yes_no": QuestionRow(
        "ask_fall",
        "ask_fall_again",
        "doubt_unclear",
        "near_fall",
        DOUBT_WAITS,
        safety=True,
        doubt=True,
    ),
    "today_yes_no": QuestionRow(
        "ask_when", "ask_when_again", "doubt_unclear", "fall", DOUBT_WAITS, safety=True, doubt=True
    ),
    "dizzy_yes_no": QuestionRow(
        "ask_dizzy",
        "ask_dizzy_again",
        "doubt_unclear",
        "dizziness",
        DOUBT_WAITS,
        safety=True,
        doubt=True,
    ),
    "pain_yes_no": QuestionRow(
        "ask_pain", "ask_pain_again", "doubt_unclear", "pain", DOUBT_WAITS, safety=True, doubt=True
    ),
    "pain_score": QuestionRow(
        "ask_pain_score", "ask_pain_score_again", "resting_any", "pain", safety=True
    ),
    "worse_yes_no": QuestionRow(
        "ask_usual",
        "ask_usual_again",
        "doubt_unclear",
        "pain",
        DOUBT_WAITS,
        safety=True,
        doubt=True,
    ),
    "fall_day": QuestionRow(
        "ask_fall_day", "ask_fall_day_again", "resting_any", "fall", safety=True
    ),
    "fall_weekly": QuestionRow("ask_week_falls", "week_unclear", "week_missing", None, WEEK_WAITS),
    "number": QuestionRow("ask_number", "ask_number", "asked_unanswered"),
    "both_sides": QuestionRow("ask_both_sides", "ask_both_sides", "asked_unanswered"),
    "done_seconds": QuestionRow("done_ask", "done_ask", "done_kept"),
    "seconds": QuestionRow("ask_seconds", "ask_seconds", "asked_unanswered"),
    "sides": QuestionRow("ask_other_side", "ask_other_side", "asked_unanswered"),
    "steadiness": QuestionRow("ask_steadiness", "ask_steadiness", "asked_unanswered"),
    "day": QuestionRow("ask_day", "ask_day", "asked_unanswered"),
    "away_until": QuestionRow("away_ask", "away_ask", "away_week"),
    "hour": QuestionRow("hour_ask", "hour_ask", "hour_ask"),
    "stop": QuestionRow("stop_ask", "stop_ask", "stop_ask"),
}
# Gravest first.
SAFETY: tuple[str, ...] = tuple(kind for kind, row in QUESTIONS.items() if row.safety)
# About the day's numbers, wishes and texts: only the latest of them is waited for.
PASSING = frozenset(kind for kind, row in QUESTIONS.items() if not row.safety and row.waits is None)
# While one of these is open, nothing that asks for practice goes.
DOUBTS = frozenset(kind for kind, row in QUESTIONS.items() if row.doubt)


def stale_after(kind: str) -> timedelta:
    """How long after it was asked a text may still be the answer to a question of this kind."""
    return QUESTIONS[kind].waits or STALE_AFTER
