"""Every text by name: which values it needs, when it is sent, and how long it may be."""

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class TextSpec:
    """What a template must be given, and what it must keep to.

    `values` are the names in braces that a caller gives; a template may leave some unused.
    `segments` is the most it may take with values of the lengths in LONGEST. `safety` marks a text
    that safety_text_problems checks before a trainer's own wording of it is taken.
    """

    when: str
    values: tuple[str, ...] = ()
    segments: int = 1
    safety: bool = False


# The longest value, in characters, with which a text must still keep to its segments.
LONGEST: Mapping[str, int] = {
    "practice": 30,
    "called": 20,
    "trainer": 20,
    "number": 3,
    "task": 105,
    "hint": 32,
    "caution": 21,
    "target_s": 2,
    "side": 9,
    "kind": 28,
    "days": 6,
    "carrier": 10,
    "minutes": 4,
}

# Texts by name, in the groups in which docs and settings show them.
GROUPS: Mapping[str, Mapping[str, TextSpec]] = {
    "Beginning and ending": {
        "first": TextSpec(
            "once, when the client has agreed to texts",
            ("called", "practice", "number"),
            segments=2,
            safety=True,
        ),
        "stop_done": TextSpec("after STOP or any wish to end the texts", ("practice", "number")),
        "start_done": TextSpec("after START", ("practice",)),
        "start_resting": TextSpec("after START, when practice is paused for rest", ("practice",)),
        "help": TextSpec("after HELP, always", ("practice", "number"), safety=True),
        "unknown_number": TextSpec(
            "to a phone that is no client's, at most once a day", ("practice", "number")
        ),
    },
    "The day's prompt": {
        "prompt": TextSpec("at the client's hour", ("task", "hint", "caution")),
        "hint_sided": TextSpec("in the prompt, when each side is practised", ("target_s",)),
        "hint_same": TextSpec("in the prompt, when both feet do the same", ("target_s",)),
        "caution": TextSpec("in the prompt, where there is room", safety=True),
        "caution_short": TextSpec("in the prompt otherwise", safety=True),
        "reminder": TextSpec("in the evening, when no reply came"),
        "task_again": TextSpec("after a question about today's stance", ("task",), segments=2),
    },
    "Asking back": {
        "ask_seconds": TextSpec("when seconds are missing"),
        "ask_seconds_sided": TextSpec("when seconds are missing and each side is practised"),
        "ask_steadiness": TextSpec("when steady or wobbly is missing"),
        "ask_sides": TextSpec("when it is not said which side was meant"),
        "ask_other_side": TextSpec("when one side is missing", ("side",)),
        "ask_same": TextSpec("after 'same as yesterday'"),
        "unreadable": TextSpec("after an unreadable reply"),
        "unreadable_sided": TextSpec("after an unreadable reply, each side is practised"),
        "unreadable_again": TextSpec("after the second unreadable reply running", ("number",)),
    },
    "Answers that move nothing": {
        "skipped": TextSpec("after 'skipped'"),
        "too_hard": TextSpec("after 'too hard'"),
        "too_easy": TextSpec("after 'too easy'"),
        "question_kept": TextSpec("after a question for the trainer", ("number",)),
        "kept_for_trainer": TextSpec("after anything else worth keeping"),
        "resting": TextSpec("when a resting client texts a result", ("number",), safety=True),
    },
    "Safety": {
        "safety_fall": TextSpec("at once after a fall", ("number",), safety=True),
        "safety_near_fall": TextSpec(
            "after a near fall: when the answer to whether they fell is NO",
            ("number",),
            safety=True,
        ),
        "safety_pain": TextSpec("at once after pain", ("number",), safety=True),
        "safety_dizzy": TextSpec("at once after dizziness", ("number",), safety=True),
        "safety_emergency": TextSpec("at once after an emergency sign", ("number",), safety=True),
        "ask_fall": TextSpec(
            "when it is in doubt whether the client fell", ("number",), safety=True
        ),
        "ask_pain": TextSpec(
            "when it is in doubt whether there was pain", ("number",), safety=True
        ),
        "ask_dizzy": TextSpec(
            "when it is in doubt whether the client was dizzy", ("number",), safety=True
        ),
        "doubt_cleared": TextSpec(
            "when the answer to a doubt about pain or dizziness is NO", ("number",), safety=True
        ),
        "ask_hurt": TextSpec("after a fall or near fall", ("number",), safety=True),
        "hurt_yes": TextSpec("when the client is hurt or cannot get up", ("number",), safety=True),
        "hurt_no": TextSpec("when the client is not hurt", ("number",), safety=True),
        "ask_pain_score": TextSpec("after pain", ("number",), safety=True),
        "pain_score_kept": TextSpec("after the answer to that", ("number",), safety=True),
    },
    "Changes the client should know of": {
        "override": TextSpec("when the trainer chose another rung"),
        "return_after_rest": TextSpec("when the trainer ended the rest", safety=True),
        "away_back": TextSpec("after 7 days or more away, before the next prompt", safety=True),
        "away_rest": TextSpec("after 21 days or more away"),
        "paused": TextSpec("when the trainer paused the prompts", ("number",)),
        "resumed": TextSpec("when the trainer resumed the prompts", safety=True),
    },
    "Once a week, to a client who wants it": {
        "weekly_some": TextSpec("after 1 or 2 days of practice", ("called", "days")),
        "weekly_enough": TextSpec("after 3 days of practice or more", ("called", "days")),
        "weekly_onward": TextSpec(
            "after 3 days or more and a move up, with none back", ("called", "days")
        ),
    },
    "To the trainer's and the second contact's phones": {
        "page": TextSpec("to the trainer on duty, for an urgent alert", ("called", "kind")),
        "page_again": TextSpec("when the alert has not been opened", ("called", "kind")),
        "page_second": TextSpec(
            "to the second contact, when nobody opened it in time",
            ("practice", "called", "kind", "trainer"),
        ),
        "page_email": TextSpec("the same by e-mail, which names nobody", ("kind",)),
        "page_email_again": TextSpec("by e-mail, when the alert has not been opened", ("kind",)),
    },
    "To a trainer, about their own sign-in": {
        "sign_in_password": TextSpec("when their password was changed", ("practice",)),
        "sign_in_factor": TextSpec(
            "when their second factor was set up or taken off", ("practice",)
        ),
        "sign_in_code": TextSpec("when a recovery code of theirs was used", ("practice",)),
    },
    "To the practice lead, about the service itself": {
        "watch_texts": TextSpec(
            "by the other way, when a carrier has failed for a while",
            ("practice", "carrier", "minutes"),
        ),
        "watch_email": TextSpec(
            "by text, when e-mail has failed for a while", ("practice", "minutes")
        ),
        "watch_ticks": TextSpec(
            "by every way, when the service has stopped acting", ("practice", "minutes")
        ),
        "watch_over": TextSpec("when that is over", ("practice", "carrier")),
    },
}

CATALOGUE: Mapping[str, TextSpec] = {
    name: spec for group in GROUPS.values() for name, spec in group.items()
}

# The alert kinds that a page or a list can name; texts_*.toml has the words for each.
ALERT_KINDS = (
    "fall",
    "near_fall",
    "pain",
    "dizziness",
    "emergency",
    "help",
    "silence",
    "away",
    "stuck",
    "unreadable",
    "opted_out",
    "undeliverable",
    "gate_reached",
    "held_back",
    "retest_due",
    "question",
    "effort",
    "other",
)
