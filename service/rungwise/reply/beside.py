"""What a reading tells beside the hold and harm, gathered from the modules that hear it."""

from dataclasses import replace
from datetime import timedelta
from typing import Any

from rungwise.ladder.stance import Answer
from rungwise.reply import answers, calendar_words, happened, kinds, news, practice, wishes
from rungwise.reply.answer_facts import worse_told
from rungwise.reply.reading import Context, Hold, Kind
from rungwise.reply.safety import Safety
from rungwise.reply.talk import Talk
from rungwise.reply.units import sentence

# Where a usual pain is never usual: a sign of its own.
_NEVER_USUAL = frozenset({"chest", "head", "calf"})


def told_beside(
    said: Talk,
    opened: kinds.Opening,
    answered: kinds.YesNo | None,
    context: Context,
    safety: Safety,
    heard: Safety,
    kind: Kind,
    holds: tuple[Hold, ...],
    question: bool,
) -> dict[str, Any]:
    """The fields of a Reading that are not at their defaults, by name.

    `heard` is `safety` without the doubt of an answer that nothing understood.
    """
    told: dict[str, Any] = {}
    near = happened.near_fall(said.parse, safety) if safety.found else False
    near = near or (safety.of("fall").answer == "unsure" and not holds and _slipped(said))
    if near:
        told["near_fall"] = True
    if context.asked != "result":
        told["answer"] = answers.answer(said, opened, answered, context, heard, kind, holds, near)
    if context.asked in ("fall_day", "fall_weekly"):
        back = calendar_words.days_back(said.parse.plain.text, context)
        if back is not None:
            told["days_ago"] = back
    if safety.found or context.usual_pain is not None:
        _signs(said, context, safety, told)
    doubts = (safety.of(family).answer for family in ("fall", "pain", "dizzy"))
    if said.places:
        _said(said, context, safety, kind, holds, question, told)
    _practised(said, context, kind, holds, told)
    if "unsure" in doubts or told.get("emergency_doubt"):
        told["doubted_by"] = "lists"
    return told


def _slipped(said: Talk) -> bool:
    """An own loss of balance with no end told: "tripped over the cord"."""
    return "talk.slipped" in said and said.told("talk.slipped") is not None


def _signs(said: Talk, context: Context, safety: Safety, told: dict[str, Any]) -> None:
    """When and whose the signs were."""
    past = happened.long_past_emergency(said, safety)
    if (safety.reported or past) and happened.old(said, context):
        told["old"] = True
        if past:
            told["emergency_doubt"] = True
    if happened.back_reference(said, safety):
        told["back_reference"] = True
    if happened.of_other(said, safety):
        told["of_other"] = True
    usual = _usual(said, context, safety)
    if usual is not None:
        told["usual"] = usual


def _usual(said: Talk, context: Context, safety: Safety) -> str | None:
    """How the pain at the recorded usual place is told; None for any other pain."""
    place = context.usual_pain
    if place is None or place in _NEVER_USUAL:
        return None
    if safety.of("pain").answer == "no":
        return "same" if _as_ever(said, place) and "pain" not in safety.found else None
    if safety.body_part != place and not (
        safety.body_part is None and ("reply.same" in said or _named(said, place))
    ):
        return None
    if worse_told(said):
        return "worse"
    return "same" if "reply.same" in said else "unsaid"


def _named(said: Talk, place: str) -> bool:
    """Whether this part of the body is named, and no other."""
    units = said.parse.units
    return {units[index].values["body"] for index in said.parse.places("body")} == {place}


def _as_ever(said: Talk, place: str) -> bool:
    """Whether the place is only named with "as always": "left knee same as ever"."""
    parse = said.parse
    for index in parse.places("body"):
        unit = parse.units[index]
        after = range(unit.end, unit.end + 3)
        if unit.values["body"] == place and any(
            first in after for first, _ in said.places.get("reply.same", ())
        ):
            return True
    return False


def _said(
    said: Talk,
    context: Context,
    safety: Safety,
    kind: Kind,
    holds: tuple[Hold, ...],
    question: bool,
    told: dict[str, Any],
) -> None:
    """News, wishes, questions and how it was practised."""
    if "talk.attack" in said and said.told("talk.attack") is not None:
        told["emergency_doubt"] = True
        if happened.of_long_ago(said, context, "talk.attack"):
            told["old"] = True
    heard = news.news(said)
    if heard is None and news.perhaps_despair(said):
        heard, told["distress_doubt"] = "distress", True
    if heard is not None:
        told["news"] = heard
    elif news.of_somebody_else(said):
        told["of_other"] = True
    _wished(said, context, kind, question, told)
    if not holds and practice.done(said):
        told["done"] = True
    if practice.two_people(said):
        told["two_people"] = True
    doubted = "talk.emergency_doubt" in said and said.told("talk.emergency_doubt") is not None
    if doubted and _only_perhaps(said, safety):
        told["emergency_doubt"] = True
    if happened.head_struck(said):
        told["head_struck"] = True
    if context.asked == "pain_score" and "reply.severe" in said:
        told["severe"] = True
    days = _days_ago(said, context)
    if days is not None:
        told.setdefault("days_ago", days)


_SIDED = ("both_sides", "sides")


def _practised(
    said: Talk, context: Context, kind: Kind, holds: tuple[Hold, ...], told: dict[str, Any]
) -> None:
    """How safely, and on which side."""
    if (holds or said.places) and practice.unsafe(said, context, holds, kind):
        told["unsafe"] = True
    if not context.sided and context.asked not in _SIDED:
        return
    side = practice.side_named(said)
    if context.asked == "both_sides" and told.get("answer") == "yes" and side is None:
        side = "both"
    if side is not None and not holds:
        told["side"] = side
    if side == "both" and all(hold.side in (None, "both") for hold in holds):
        told["to_both"] = True


def _wished(said: Talk, context: Context, kind: Kind, question: bool, told: dict[str, Any]) -> None:
    wished = wishes.wishes(said, kind, context)
    if wished.asks:
        told["asks"] = wished.asks
    for name, value in (
        ("wish_time", wished.time),
        ("wish_from", wished.begins),
        ("wish_until", wished.until),
        ("wish_days", wished.days),
    ):
        if value:
            told[name] = value
    topic = wishes.topic(said, question)
    if topic is not None:
        told["topic"] = topic


def _days_ago(said: Talk, context: Context) -> int | None:
    """How many days ago the result was, where it is told as an earlier day's."""
    if context.asked == "day":
        return 1 if "dated.yesterday" in said else (0 if "dated.today" in said else None)
    if "dated" not in said.tables:
        return None
    earlier = said.any(*_EARLIER)
    if not earlier or "dated.compared" in said or _today_told(said) or _beside_a_hold(said):
        return None
    if "dated.before_yesterday" in said:
        return 2
    return 1 if "dated.yesterday" in said else _since(said, context)


_EARLIER = ("dated.yesterday", "dated.for_day", "dated.before_yesterday")
_FIGURES = frozenset({"digits", "number"})


def _beside_a_hold(said: Talk) -> bool:
    """Whether the earlier day is of one sentence and the hold of another: "new tablets last night.
    16 wobbly".
    """
    parse = said.parse
    dated = [
        sentence(parse, said.event(where).first)
        for tag in _EARLIER
        for where in said.places.get(tag, ())
    ]
    figures = [i for i, unit in enumerate(parse.units) if not unit.tags.isdisjoint(_FIGURES)]
    return bool(figures) and not any(place in around for place in figures for around in dated)


def _today_told(said: Talk) -> bool:
    undone = said.places.get("talk.undone", [])
    return any(
        not any(first - 4 <= a and b < first for a, b in undone)
        for first, _ in said.places.get("dated.today", ())
    )


def _since(said: Talk, context: Context) -> int | None:
    """How long ago the weekday named was last, by the client's date."""
    if context.today is None:
        return None
    text = said.parse.plain.text
    named = calendar_words.weekdays(text)
    if len(named) != 1:
        return None
    for days in range(1, 7):
        day = context.today - timedelta(days=days)
        if calendar_words.name_of(day) == named[0]:
            return days
    return None


def emergency_of(told: dict[str, Any], safety: Safety) -> Answer:
    """A blow to the head in a fall is an emergency, whatever else is told."""
    known = safety.found.get("emergency")
    if known is not None:
        return known.answer
    struck = told.get("head_struck", False) and safety.of("fall").answer == "yes"
    return "yes" if struck else "no"


def _only_perhaps(said: Talk, safety: Safety) -> bool:
    """Whether an emergency, if told at all, is so in words that may be no more than effort."""
    known = safety.of("emergency")
    doubts = [said.span(where) for where in said.places["talk.emergency_doubt"]]
    return known.answer != "yes" or all(
        any(d.start < s.end and s.start < d.end for d in doubts) for s in known.spans
    )


def without_help_that_came(said: Talk, safety: Safety) -> Safety:
    """After an emergency text, "the ambulance is here" is an answer and no new emergency."""
    known = safety.found.get("emergency")
    came = [said.span(where) for where in said.places.get("reply.calls", ())]
    if known is None or not came:
        return safety
    if not all(any(c.start < s.end and s.start < c.end for c in came) for s in known.spans):
        return safety
    rest = {name: found for name, found in safety.found.items() if name != "emergency"}
    return replace(safety, found=rest)
