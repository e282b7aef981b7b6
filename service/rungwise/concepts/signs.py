"""The signs of harm, gravest first, and what telling one sets off.

What a sure sign does: the client rests, the trainer is told, one safety text goes, and one
question follows. What a doubtful one does: one question, practice is held, the trainer is told.
Not reviewed by a clinician yet. Basis: docs/safety.md.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from rungwise.concepts.alert_kinds import Urgency


@dataclass(frozen=True, slots=True)
class SignRow:
    """`alert` is the kind it opens, `text` the safety text of a sure one, `then` the question that
    follows it, `doubt` the question that a doubtful one asks, `doubt_alert` what that opens.
    `asks_within`: the safety text asks the question itself. `flag`: the report's field, if any.
    """

    alert: str
    urgency: Urgency
    text: str
    then: str | None = None
    asks_within: bool = False
    doubt: str | None = None
    doubt_alert: str | None = None
    flag: str | None = None


SIGNS: Mapping[str, SignRow] = {
    "emergency": SignRow(
        "emergency",
        Urgency.URGENT,
        "safety_emergency",
        doubt="emergency_yes_no",
        doubt_alert="emergency",
        flag="emergency",
    ),
    "head": SignRow("emergency", Urgency.URGENT, "safety_head", flag="emergency"),
    "distress": SignRow("distress", Urgency.URGENT, "despair"),
    "fall": SignRow(
        "fall",
        Urgency.URGENT,
        "safety_fall",
        then="hurt",
        asks_within=True,
        doubt="fall_yes_no",
        doubt_alert="near_fall",
        flag="fall",
    ),
    "dizziness": SignRow(
        "dizziness",
        Urgency.URGENT,
        "safety_dizzy",
        then="hurt",
        doubt="dizzy_yes_no",
        doubt_alert="dizziness",
        flag="dizzy",
    ),
    "pain": SignRow(
        "pain",
        Urgency.URGENT,
        "safety_pain",
        then="pain_score",
        doubt="pain_yes_no",
        doubt_alert="pain",
        flag="pain",
    ),
    "near_fall": SignRow(
        "near_fall", Urgency.TODAY, "ask_fall", then="fall_yes_no", asks_within=True
    ),
    "health_news": SignRow("health_news", Urgency.TODAY, "news_health"),
}
GRAVEST_FIRST: tuple[str, ...] = tuple(SIGNS)
# What may be told of another day, and is then asked about; an emergency is never asked when.
TOLD_OF_A_DAY: tuple[str, ...] = tuple(
    sign for sign, row in SIGNS.items() if row.flag not in (None, "emergency")
)
# The report's fields for these: no, unsure or yes.
FLAGS: tuple[str, ...] = tuple(str(SIGNS[sign].flag) for sign in TOLD_OF_A_DAY)
# After these "are you hurt?" is asked.
BEFORE_HURT: tuple[str, ...] = tuple(sign for sign, row in SIGNS.items() if row.then == "hurt")
