"""What pages call things: states, kinds of alert, moves, texts; and small pieces of wording."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from itertools import pairwise
from typing import Any

from rungwise.coach.enrolment.facts import FACTS
from rungwise.coach.record.day_strip import MARKS as DAY_MARKS  # noqa: F401  # for templates
from rungwise.concepts.measures import Measures

USUAL = Measures()
KIND = {
    "fall": "Fall",
    "near_fall": "Near fall",
    "pain": "Pain",
    "dizziness": "Dizziness",
    "emergency": "Emergency sign",
    "help": "Asked for help",
    "silence": "Silent",
    "away": "Away for long",
    "stuck": "Stuck on a rung",
    "distress": "Words of despair",
    "health_news": "News of their health",
    "call_me": "Asks for a call",
    "life_news": "News from home",
    "unsafe": "Practised unsafely",
    "request": "Asks for something",
    "unread": "A text to read",
    "opted_out": "Stopped the texts",
    "undeliverable": "Text did not arrive",
    "gate_reached": "Reached a gate",
    "held_back": "Held back on a rung",
    "auto_answers": "A machine answers",
    "retest_due": "Retest due",
}
URGENCY = {"urgent": "Urgent", "today": "Today", "note": "Note"}
STATE = {
    "invited": "Not agreed yet",
    "active": "Practising",
    "resting": "Resting",
    "paused": "Paused",
    "stopped": "Stopped texts",
}
# What today is for a client, in the order in which it may need the trainer.
TODAY = {
    "silent": "Silent",
    "wobbly": "Wobbly",
    "resting": "Resting",
    "not_arrived": "Text did not arrive",
    "held": "Held for a safety question",
    "missed": "Text not sent",
    "stopped": "Stopped texts",
    "skipped": "Skipped",
    "replied": "Replied",
    "sent": "Sent, no reply yet",
    "due": "Due",
    "steady": "Steady",
    "none": "No practice today",
    "paused": "Paused",
    "invited": "Not agreed yet",
}
SORT = {"name": "name", "today": "what may need you", "days": "last practice", "rung": "rung"}
LANGUAGE = {"en": "English", "es": "Spanish"}
ALERT_STATE = {"new": "Not seen yet", "seen": "Seen", "handled": "Handled"}
MOVE = {
    "up": "Up",
    "stay": "Stay",
    "back": "Back",
    "rest": "Rest",
    "override": "Placed by a trainer",
}
# What a trainer entered among the texts.
TOLD_BY = {
    "phone": "Told by phone",
    "visit": "Seen at a visit",
    "correction": "Read wrong, put right",
}
TEXT_STATE = {
    "queued": "waiting to leave",
    "sending": "leaving now",
    "sent": "sent",
    "delivered": "delivered",
    "failed": "did not arrive",
    "unknown": "may not have arrived",
    "cancelled": "taken back",
    "missed": "not sent",
    "received": "received",
    "read": "read",
    "repeat": "a repeat, not counted",
    "set_aside": "from an unknown number",
    "unprocessed": "could not be acted on",
}
PAGE_STATE = {
    "queued": "waiting",
    "sending": "leaving now",
    "sent": "handed over",
    "delivered": "delivered",
    "failed": "failed",
    "unknown": "may not have arrived",
    "cancelled": "taken back",
}
WORD_BY = {
    "letter": "by letter",
    "call": "by telephone",
    "seen": "seen by me, or I was there",
}
GO = {
    "ambulance": "An ambulance, now.",
    "emergency department": "To the emergency department, now.",
    "seen today": "To be seen by a clinician today.",
}
# What a person did about an incident, after their name.
INCIDENT_ACT = {
    "alert seen": "opened it: no pages for 30 minutes",
    "alert handled": "handled it",
    "handling undone": "took the handling back",
    "after a fall": "answered the checklist after a fall",
    "clinician's word": "recorded a clinician's word",
    "page answered 1": "answered the page: has it, no pages for 30 minutes",
    "page answered 2": "answered the page: phoned, all well so far, no pages for 4 hours",
    "page answered 3": "answered the page: cannot, the next people were paged",
    "screened": "asked the screening's questions",
}
TEXT_KIND = {
    "prompt": "the day's text",
    "answer": "answer",
    "safety": "safety text",
    "help": "answer to HELP",
    "opt_out": "answer to STOP",
    "welcome": "first text",
    "notice": "notice",
    "reminder": "reminder",
    "weekly": "weekly text",
    "falls": "asked about falls",
    "own": "from you",
    "reply": "reply",
}
WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
SEEN_AS = {
    "fall": "a fall",
    "pain": "pain",
    "dizzy": "dizziness",
    "emergency": "an emergency sign",
    "holds": "seconds held",
    "steadiness": "how steady",
    "steadiness_by_side": "how steady on each side",
    "kind": "what kind of text",
    "yes_no": "yes or no",
    "body_part": "where",
    "pain_score": "how bad the pain",
    "correction": "a correction",
    "same_as_before": "the same as before",
    "effort": "too hard or easy",
    "near_fall": "nearly a fall",
    "head": "a knock on the head",
    "news": "news",
    "asks": "a wish",
    "answer": "an answer",
    "unsafe": "unsafe practice",
    "support": "held on",
    "topic": "a question",
}


@dataclass(frozen=True, slots=True)
class Piece:
    """A stretch of a client's own words; `seen_as` what the reader took it for, if anything."""

    text: str
    seen_as: tuple[str, ...] = ()


def marked(body: str, reading: Mapping[str, Any] | None) -> list[Piece]:
    """The client's exact words, cut where the reader's `because` begins and ends."""
    because = (reading or {}).get("because") or {}
    spans = [
        (start, end, _seen_as(name, reading or {}, body[start:end]))
        for name, spans in because.items()
        for span in spans
        for start, end in [(max(span["start"], 0), min(span["end"], len(body)))]
    ]
    spans = [span for span in spans if span[0] < span[1]]
    cuts = sorted({0, len(body), *(edge for span in spans for edge in span[:2])})
    pieces: list[Piece] = []
    for start, end in pairwise(cuts):
        seen = tuple(dict.fromkeys(name for low, high, name in spans if low <= start < high))
        if pieces and pieces[-1].seen_as == seen:
            pieces[-1] = Piece(pieces[-1].text + body[start:end], seen)
        else:
            pieces.append(Piece(body[start:end], seen))
    return pieces


SIDES = {"left": ("left", "izquierd"), "right": ("right", "derech")}


def _seen_as(name: str, reading: Mapping[str, Any], stretch: str) -> str:
    """What a stretch was taken for; a place of the body with the side that the words name."""
    place = reading.get("body_part")
    if name != "body_part" or not place:
        return SEEN_AS.get(name, name)
    words = stretch.lower()
    sides = [side for side, said in SIDES.items() if any(one in words for one in said)]
    return " ".join(["where:", *sides, place.replace("_", " ")])


def read_as(pieces: Sequence[Piece]) -> list[tuple[str, str]]:
    """Each marked stretch with what it was taken for, for a line under the words."""
    return [(piece.text.strip(), ", ".join(piece.seen_as)) for piece in pieces if piece.seen_as]


def ago(then: datetime, now: datetime) -> str:
    """How long ago, roughly: 4 minutes ago."""
    passed = max(now - then, timedelta(0))
    minutes = int(passed.total_seconds() // 60)
    if minutes < 1:
        return "just now"
    if minutes < 60:
        return f"{counted(minutes, 'minute')} ago"
    if minutes < 48 * 60:
        return f"{counted(minutes // 60, 'hour')} ago"
    return f"{counted(minutes // (24 * 60), 'day')} ago"


def counted(number: int, thing: str) -> str:
    return f"{number} {thing}" if number == 1 else f"{number:,} {thing}s"


def kind_words(kind: str) -> str:
    """The name of a kind of alert, also of one that this version does not know."""
    return KIND.get(kind, opening(kind.replace("_", " ")))


def opening(text: str) -> str:
    """The text with a capital to begin with, and the rest as it is."""
    return text[:1].upper() + text[1:]


PLAN_WORDS = {
    "prompt_at": "hour of the text",
    "weekdays": "practice days",
    "away": "dates away",
    "reminder_at": "evening reminder",
    "target_s": "hold target",
    "rule_version": "rule version",
    "open_gates": "open gates",
    "caution": "caution",
    "ceiling": "ceiling",
    "usual_pain": "usual pain",
    "sets": "holds a day",
    "keeps_up": "keep up what is held",
}
ACTION = {
    "override": "put on another rung",
    "plan changed": "changed the plan",
    "alert seen": "opened an alert",
    "alert handled": "handled an alert",
    "handling undone": "took the handling of an alert back",
    "pause": "paused the texts",
    "resume": "began the texts again",
    "wrote to client": "wrote a text",
    "note added": "added a note",
    "note edited": "edited a note",
    "day entered": "entered a day that was told otherwise than by text",
    "reading corrected": "put right how a text was read",
    "retest": "recorded a retest",
    "retest withdrawn": "took back a retest that was entered by mistake",
    "review call": "called, in place of a retest",
    "review rhythm": "changed how often a retest or a call is due",
    "weekly text": "changed whether the weekly text is wanted",
    "facts changed": "changed facts of the client",
    "home set-up": "noted what is in place at home",
    "new phone said yes": "The new phone answered YES: texts go there",
    "new phone taken back": "took back that a new phone was asked",
    "falls asked": "changed whether they are asked about falls",
    "fall recorded": "recorded a fall",
    "fall changed": "changed what is recorded of a fall",
    "handed over": "handed the client over to a colleague",
    "visit planned": "planned a visit",
    "visited": "visited",
    "visit called off": "called a visit off",
    "acted on many": "acted on many clients",
    "act on many undone": "took an act on many clients back",
    "by program": "done by another program in their name",
}
CAUTION = {
    "gentle": "Gentle: more steady days before each step, back sooner",
    "usual": "Usual",
    "keen": "Keen: leaves a landmark after two steady days",
}


def change_words(
    action: str,
    detail: Mapping[str, Any],
    named: Callable[[str], str],
    measures: Measures = USUAL,
) -> list[str]:
    """A line of the audit trail in sentences, without the trainer's name."""
    told = [f"{opening(ACTION.get(action, action))}."]
    if action == "override" and "to_key" in detail:
        told.append(f"From {named(detail['from_key'])} to {named(detail['to_key'])}.")
    if action == "facts changed" and detail["facts"]:
        told.append(f"{', '.join(FACTS[name].label for name in detail['facts'])}.")
    if action in ("day entered", "reading corrected"):
        told.append(f"The day: {detail['day']}.")
    return [*told, *changes_said(detail.get("changed") or {}, named, measures)]


def changes_said(
    changed: Mapping[str, Sequence[Any]], named: Callable[[str], str], measures: Measures = USUAL
) -> list[str]:
    """What differs, from before to after, one sentence each."""
    told = []
    for name, (before, after) in changed.items():
        fact = FACTS[name].label if name in FACTS else name
        what = opening(PLAN_WORDS.get(name, fact))
        told.append(
            f"{what}: {plan_value(name, before, named, measures)}, "
            f"then {plan_value(name, after, named, measures)}."
        )
    return told


def times(count: int) -> str:
    """How often: once, twice, 3 times."""
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def plan_value(
    name: str, value: Any, named: Callable[[str], str], measures: Measures = USUAL
) -> str:
    """One value of a plan in words."""
    if name in ("prompt_at", "reminder_at") and value:
        return measures.hour(time.fromisoformat(value))
    if name == "away":
        return ", ".join(f"{first} to {last}" for first, last in value) or "none"
    if name == "open_gates":
        return ", ".join(gate.replace("_", " ") for gate in value) or "none"
    if name in ("ceiling", "weekdays") and value:
        return named(value) if name == "ceiling" else weekdays(value)
    if name == "keeps_up":
        return "yes" if value else "no"
    shown = "none" if value in (None, "") else str(value)
    if name == "usual_pain" and value:
        shown = f"{value['place']}, {value['score']} of 10"
    return f"{value} s" if name == "target_s" else shown


def weekdays(days: Iterable[int]) -> str:
    """Practice days in a few words: every day, or Mon, Wed, Fri."""
    held = sorted(days)
    return "every day" if len(held) == 7 else ", ".join(WEEKDAYS[day] for day in held)


def ground_name(round_name: str) -> str:
    """What is stood on in a round, as it is named in rungs' keys: firm, mat2/front, foam_flat."""
    ground, _, foot = round_name.partition("/")
    under = f", {foot} foot on it" if foot else ""
    if ground == "firm":
        return "Firm ground"
    if ground.startswith("mat"):
        layers = int(ground.removeprefix("mat"))
        return f"Mat, {counted(layers, 'layer')}{under}"
    return f"Half foam, {ground.removeprefix('foam_').replace('_', ' side, ')}{under}"
