"""Wishes, with their times and days, and the fixed answer that fits a question."""

from dataclasses import dataclass
from typing import get_args

from rungwise.reply import calendar_words
from rungwise.reply.reading import Ask, Context, Kind, Topic, Weekday
from rungwise.reply.talk import Talk

_ASKS: tuple[Ask, ...] = get_args(Ask)
# The first that fits: a question may brush against several.
_TOPICS: tuple[Topic, ...] = (
    "how_wobbly",
    "how_above",
    "how_missed",
    "how_stop",
    "how_shoes",
    "sit_or_lie",
    "how_foot",
    "how_alone",
    "cost",
    "who",
    "why_easy",
    "progress",
    "when_ends",
    "how_often",
    "how_time",
    "how_hold",
    "how_long",
)
# Asked even where nothing else shows a question: "left first or right first".
_PLAIN_ENOUGH = frozenset({"how_missed"})
# What a client asks to be told and what they want done are often one wording.
_ALSO_TOPICS: dict[Ask, Topic] = {"who": "who", "progress": "progress"}


@dataclass(frozen=True, slots=True)
class Wishes:
    asks: tuple[Ask, ...] = ()
    time: str | None = None
    begins: str | None = None
    until: str | None = None
    days: tuple[Weekday, ...] = ()


_NONE = Wishes()


def wishes(said: Talk, kind: Kind, context: Context) -> Wishes:
    """Every wish told."""
    asked = context.asked
    if "wish" not in said.tables and asked not in ("hour", "away_until"):
        return _NONE
    text = said.parse.plain.text
    told = {tag.removeprefix("wish.") for tag in said.places if tag.startswith("wish.")}
    found = [ask for ask in _ASKS if ask in told]
    if "wish.back_alone" in said and "back" not in found and _nothing_else(said):
        found.append("back")
    time = None
    if asked == "hour" or "another_hour" in found or "wish.at_hour" in said:
        time = calendar_words.hour(text)
        if time is not None and "another_hour" not in found and "later_today" not in found:
            found.append("another_hour")
        if time is not None and "wish.at_hour" in said and "later_today" in found:
            found[found.index("later_today")] = "another_hour"
    if "later_today" in found and (kind not in ("skipped", "other", "question")):
        found.remove("later_today")
    away = "away" in found or asked == "away_until"
    if not found and not away and time is None:
        return _NONE
    begins, until = calendar_words.stretch(text, context) if away else (None, None)
    days: tuple[Weekday, ...] = ()
    if "other_days" in found:
        days = calendar_words.weekdays(text)
    ordered = tuple(ask for ask in _ASKS if ask in found)
    return Wishes(ordered, time, begins, until, days)


_FILLER = frozenset({"stop", "comma", "mark", "polite.word", "asks"})


def _nothing_else(said: Talk) -> bool:
    """Whether "back" is all that is said: "the vertigo is back" is no wish."""
    first, last = max(said.places["wish.back_alone"], key=lambda where: where[1] - where[0])
    return all(
        (first <= unit.start and unit.end - 1 <= last) or not unit.tags.isdisjoint(_FILLER)
        for unit in said.parse.units
    )


# A text that opens so asks, with a mark or without.
_ASKING = frozenset(
    {"is", "are", "am", "do", "does", "did", "can", "could", "may", "should", "shall", "must"}
    | {"will", "would", "what", "whats", "how", "when", "which", "who", "why", "where", "any"}
    | {"que", "como", "cuando", "cual", "quien", "por", "donde", "cuanto", "cuantos", "cuantas"}
    | {"puedo", "debo", "es", "hay", "tengo", "se", "con", "a", "me"}
)


def topic(said: Talk, question: bool) -> Topic | None:
    """The fixed answer that fits what is asked, if one does."""
    if said.tables.isdisjoint({"wish", "fixed"}):
        return None
    for ask, name in _ALSO_TOPICS.items():
        if f"wish.{ask}" in said:
            return name
    if "fixed" not in said.tables:
        return None
    words = said.parse.tokens.words
    question = question or (bool(words) and words[0] in _ASKING)
    fitting = (name for name in _TOPICS if f"fixed.{name}" in said)
    return next((name for name in fitting if question or name in _PLAIN_ENOUGH), None)
