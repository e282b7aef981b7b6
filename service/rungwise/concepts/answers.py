"""What each answer to each open question leads to: the decision tables of the safety conversation.

An answer that a question does not list is unclear: the first gets the question once more in other
words, the second makes its alert urgent. A reaction is no answer, and silence is acted on by the
clock. Not reviewed by a clinician yet.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from rungwise.concepts.alert_kinds import Urgency

# What becomes of the client: rests until the trainer acts, is as before the question, or unchanged.
After = Literal["rests", "as_before", "unchanged"]


@dataclass(frozen=True, slots=True)
class Outcome:
    """`alerts` are opened or joined at this urgency; `anew` pages again whatever was opened before.
    `then` is asked next. `line` is what the trainer reads beside the client's words.
    """

    text: str
    after: After
    line: str
    alerts: tuple[tuple[str, Urgency], ...] = ()
    anew: bool = False
    then: str | None = None


_URGENT, _TODAY, _NOTE = Urgency.URGENT, Urgency.TODAY, Urgency.NOTE
_EMERGENCY = (("emergency", _URGENT),)
_FELL = (("fall", _URGENT),)
_CANNOT = "The client may be unable to get up, or too unwell to say."


def _stuck(*also: str) -> Outcome:
    alerts = (*_EMERGENCY, *((kind, _URGENT) for kind in also))
    return Outcome("hurt_cannot", "rests", _CANNOT, alerts, anew=True)


def _told(kind: str, text: str, then: str | None, line: str) -> Outcome:
    return Outcome(text, "rests", line, ((kind, _URGENT),), anew=True, then=then)


_FALL = {
    "yes": _told("fall", "safety_fall", "hurt", "The client says they fell."),
    "no": Outcome(
        "safety_near_fall",
        "unchanged",
        "The client says they did not fall.",
        (("near_fall", _TODAY),),
    ),
    "cannot": _stuck("fall"),
    "unknown": _told("fall", "safety_fall", "hurt", "The client does not remember."),
}
_HURT = {
    "yes": Outcome("hurt_yes", "rests", "The client says they are hurt.", _EMERGENCY, anew=True),
    "no": Outcome("hurt_no", "unchanged", "The client says they are not hurt."),
    "comfort": Outcome("hurt_comfort", "unchanged", "The client says they are fine."),
    "cannot": _stuck(),
    "unknown": _stuck(),
}
_HURT_AFTER_HELP = {
    **_HURT,
    "no": Outcome("help_no", "as_before", "The client says they are not hurt."),
    "comfort": Outcome("help_no", "as_before", "The client says they are fine."),
}
_DIZZY = {
    "yes": _told("dizziness", "safety_dizzy", "hurt", "The client says they were dizzy."),
    "no": Outcome("doubt_cleared", "as_before", "The client says they were not dizzy."),
    "cannot": _stuck("dizziness"),
    "unknown": _told("dizziness", "safety_dizzy", "hurt", "The client is not sure."),
}
_PAIN = {
    "yes": _told("pain", "safety_pain", "pain_score", "The client says it hurt."),
    "no": Outcome("doubt_cleared", "as_before", "The client says nothing hurt."),
    "cannot": _stuck("pain"),
    "unknown": _told("pain", "safety_pain", "pain_score", "The client is not sure."),
}
_WORSE = {
    "yes": _told("pain", "safety_pain", "pain_score", "Worse than the usual pain."),
    "no": Outcome("usual_same", "as_before", "The usual pain, no worse.", (("pain", _NOTE),)),
    "cannot": _told("pain", "safety_pain", "pain_score", "The usual pain is too bad to move."),
    "unknown": _told("pain", "safety_pain", "pain_score", "Not sure whether it is worse."),
}
_SURELY_EMERGENCY = Outcome(
    "safety_emergency", "rests", "The client says it may be an emergency.", _EMERGENCY, anew=True
)
_EMERGENCY_DOUBT = {
    "yes": _SURELY_EMERGENCY,
    # The words still stand, so the trainer looks first.
    "no": Outcome("resting_any", "rests", "The client says no.", (("emergency", _TODAY),)),
    "cannot": _SURELY_EMERGENCY,
    "unknown": _SURELY_EMERGENCY,
}
_WHEN = {
    "no": Outcome("old_event_kept", "as_before", "It was longer ago."),
    "cannot": _stuck(),
}
_SCORE = {
    "no": Outcome("pain_score_kept", "unchanged", "The client says the pain is gone."),
    "cannot": Outcome("hurt_yes", "rests", "Cannot move or bear it.", _EMERGENCY, anew=True),
    "unknown": Outcome(
        "pain_score_high", "rests", "Cannot say how bad.", (("pain", _URGENT),), anew=True
    ),
}
# Any fall since last week: a calendar asked, there is no worry behind it.
_WEEK = {
    "yes": _told("fall", "safety_fall", "hurt", "Asked for the week: the client fell."),
    "no": Outcome("week_no", "unchanged", "No fall this week."),
    "cannot": _stuck(),
    "unknown": Outcome(
        "ask_fall",
        "unchanged",
        "Asked for the week: the client does not know.",
        (("near_fall", _TODAY),),
        then="fall_yes_no",
    ),
}
_DAY = {
    "unknown": Outcome("fall_day_kept", "unchanged", "The client does not know on which day."),
}
_SAYS_NO_TO_CALLING = Outcome(
    "emergency_again", "rests", "Does not or cannot call.", _EMERGENCY, anew=True
)
# Nothing is asked after an emergency text, and nothing here stands down.
_AFTER_EMERGENCY = {
    "yes": Outcome("emergency_kept", "unchanged", "The client answered."),
    "no": _SAYS_NO_TO_CALLING,
    "comfort": Outcome("emergency_eased", "unchanged", "Says it has eased."),
    "cannot": _SAYS_NO_TO_CALLING,
    "unknown": _SAYS_NO_TO_CALLING,
    "question": Outcome("emergency_again", "unchanged", "Asks what to do."),
    "other": Outcome("emergency_kept", "unchanged", "The client wrote again."),
}
_STILL_IN_DESPAIR = Outcome(
    "despair_again", "rests", "Will not or cannot call.", (("distress", _URGENT),), anew=True
)
_KEPT = Outcome("despair_again", "unchanged", "The client wrote again.")
_AFTER_DISTRESS = {
    **dict.fromkeys(("yes", "unknown", "question", "other"), _KEPT),
    "no": _STILL_IN_DESPAIR,
    "cannot": _STILL_IN_DESPAIR,
    # Kept, not believed.
    "comfort": Outcome("despair_mistaken", "unchanged", "Says it was not meant so."),
}

ANSWERS: Mapping[str, Mapping[str, Outcome]] = {
    "fall_yes_no": _FALL,
    "hurt": _HURT,
    "hurt_after_help": _HURT_AFTER_HELP,
    "dizzy_yes_no": _DIZZY,
    "pain_yes_no": _PAIN,
    "worse_yes_no": _WORSE,
    "emergency_yes_no": _EMERGENCY_DOUBT,
    "today_yes_no": _WHEN,
    "pain_score": _SCORE,
    "fall_weekly": _WEEK,
    "fall_day": _DAY,
    "after_emergency": _AFTER_EMERGENCY,
    "after_distress": _AFTER_DISTRESS,
}
