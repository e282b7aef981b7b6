"""How a text answers the question that is open: yes, no, comfort, cannot, unknown, a question.

Comfort ("I'm fine") is kept apart from no: it answers "are you hurt?" and nothing else. Where a
text says two things, the one that leads to more care counts: the rows of each question are looked
at in order, and the first that fits is the answer.
"""

from rungwise.reply import kinds
from rungwise.reply.answer_facts import Facts
from rungwise.reply.reading import Context, Hold, Kind, OpenAnswer
from rungwise.reply.safety import Safety
from rungwise.reply.talk import Talk

_Rows = tuple[tuple[OpenAnswer, str], ...]

# Each row: the answer, and the fact (a property of Facts) that makes it so.
_HARM: _Rows = (
    ("cannot", "cannot"),
    ("yes", "opens_yes"),
    ("unknown", "only_unknown"),
    ("yes", "harm_told"),
    ("unknown", "no_taken_back"),
    ("no", "opens_no"),
    ("yes", "thinks_so"),
    ("unknown", "unknown"),
    ("no", "nearly_fell"),
    ("question", "asks_of_a_doubt"),
    ("comfort", "comfort_of_a_doubt"),
    ("yes", "harm_doubted"),
    ("question", "asks_by_word"),
    ("comfort", "comfort"),
    ("no", "denied"),
    ("question", "asks"),
)
_PAIN: _Rows = (
    ("other", "number_too_great"),
    ("no", "number_nought"),
    ("yes", "number"),
    *_HARM,
)
_HURT: _Rows = (
    ("cannot", "cannot"),
    ("comfort", "yes_i_am_fine"),
    ("yes", "emergency"),
    ("yes", "pain_beside_a_hold"),
    ("yes", "place_of_pain"),
    ("other", "hold_alone"),
    *_HARM,
)
_WEEKLY: _Rows = (
    ("no", "number_nought"),
    ("yes", "few_falls"),
    ("other", "of_practice"),
    *_HARM,
)
_EMERGENCY: _Rows = (
    ("cannot", "cannot"),
    ("yes", "emergency"),
    ("yes", "opens_yes"),
    ("no", "opens_no"),
    ("unknown", "unknown"),
    ("comfort", "comfort"),
    ("yes", "emergency_doubted"),
    ("no", "says_no"),
    ("question", "asks"),
)
_TODAY: _Rows = (
    ("cannot", "cannot_for_sure"),
    ("yes", "opens_yes"),
    ("no", "opens_no"),
    ("comfort", "fine_now"),
    ("yes", "recent"),
    ("no", "long_ago"),
    ("unknown", "when_unknown"),
    ("no", "says_no"),
    ("comfort", "comfort"),
    ("question", "asks"),
)
_WORSE: _Rows = (
    ("question", "asks_with_a_mark"),
    ("cannot", "cannot_for_sure"),
    ("other", "number_too_great"),
    ("no", "number_nought"),
    ("yes", "number"),
    ("yes", "opens_yes"),
    ("yes", "worse"),
    ("no", "opens_no"),
    ("no", "same"),
    ("unknown", "unknown"),
    ("comfort", "comfort"),
    ("question", "asks"),
)
_SCORE: _Rows = (
    ("cannot", "cannot_for_sure"),
    ("other", "number_too_great"),
    ("no", "number_nought"),
    ("yes", "any_number"),
    ("no", "opens_no"),
    ("yes", "severe"),
    ("yes", "opens_yes"),
    ("unknown", "unknown"),
    ("comfort", "comfort"),
    ("no", "says_no"),
    ("question", "asks"),
)
_AFTER_A_SAFETY_TEXT: _Rows = (
    ("cannot", "worse"),
    ("question", "asks_only"),
    ("cannot", "cannot"),
    ("no", "will_not_call"),
    ("yes", "has_called"),
    ("comfort", "eased"),
    ("yes", "opens_yes"),
    ("no", "opens_no"),
    ("unknown", "unknown"),
    ("comfort", "comfort"),
)
_OFFER: _Rows = (
    ("no", "refused_by_keyword"),
    ("yes", "agreed_by_keyword"),
    ("unknown", "unknown"),
    ("no", "refuses"),
    ("question", "asks_before_agreeing"),
    ("yes", "opens_yes"),
    ("yes", "agrees"),
    ("question", "asks"),
)
_HOLD: _Rows = (
    ("other", "hold"),
    ("yes", "opens_yes"),
    ("no", "opens_no"),
    ("question", "asks"),
    ("unknown", "unknown"),
    ("yes", "approves"),
)
_DAY: _Rows = (("unknown", "unknown"), ("comfort", "comfort"), ("question", "asks"))
_SIDES: _Rows = (("yes", "both_sides"), *_HOLD)
_ROWS: dict[str, _Rows] = {
    "fall_yes_no": _HARM,
    "dizzy_yes_no": _HARM,
    "pain_yes_no": _PAIN,
    "hurt": _HURT,
    "fall_weekly": _WEEKLY,
    "fall_day": _DAY,
    "emergency_yes_no": _EMERGENCY,
    "today_yes_no": _TODAY,
    "worse_yes_no": _WORSE,
    "pain_score": _SCORE,
    "after_emergency": _AFTER_A_SAFETY_TEXT,
    "after_distress": _AFTER_A_SAFETY_TEXT,
    "invite": _OFFER,
    "stop": _OFFER,
    "both_sides": _SIDES,
    "sides": _SIDES,
}


def answer(
    said: Talk,
    opened: kinds.Opening,
    answered: kinds.YesNo | None,
    context: Context,
    safety: Safety,
    kind: Kind,
    holds: tuple[Hold, ...],
    near_fall: bool,
) -> OpenAnswer | None:
    """The answer to `context.asked`; None where nothing is asked."""
    if context.asked == "result":
        return None
    if kind in ("opt_out", "opt_in") and context.asked not in ("invite", "stop"):
        return "other"
    facts = Facts(said, opened, answered, context, safety, kind, holds, near_fall)
    rows = _ROWS.get(context.asked, _HOLD)
    return next((answer for answer, fact in rows if getattr(facts, fact)), "other")
