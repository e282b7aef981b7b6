"""When a sign was, whose it was, and what kind it was beside yes and no."""

from collections.abc import Sequence
from datetime import date, timedelta
from itertools import pairwise

from rungwise.reply import calendar_words, scope
from rungwise.reply.events import FAMILIES, Event, events
from rungwise.reply.reading import Context
from rungwise.reply.safety import Safety
from rungwise.reply.talk import Talk
from rungwise.reply.units import Parse, sentence

# A sign of longer ago than this is asked about.
LOOK_BACK = timedelta(days=31)
_CHRISTMAS_MONTH, _CHRISTMAS_DAY = 12, 25


def near_fall(parse: Parse, safety: Safety) -> bool:
    """Whether a doubtful fall is nearly one in the client's own words."""
    if safety.of("fall").answer != "unsure":
        return False
    if safety.elsewhere or {"scope.close", "near.caught"} <= parse.seen:
        return True
    if not parse.seen.isdisjoint({"partly.almost"}):
        return True
    for event in events(parse):
        if event.family == "fall" and (
            event.form == "near"
            or scope.nearly(parse, event)
            or scope.caught(parse, event)
            or (scope.felt_like(parse, event) and scope.denied(parse, event) != "no")
        ):
            return True
    return False


def _sentence_of(said: Talk, place: int) -> tuple[int, int]:
    """The tokens of the sentence around a unit, first and last."""
    around = sentence(said.parse, place)
    units = said.parse.units
    return units[around.start].start, units[around.stop - 1].end - 1


def _within(said: Talk, tag: str, stretch: tuple[int, int]) -> bool:
    first, last = stretch
    return any(first <= a and b <= last for a, b in said.places.get(tag, ()))


def old(said: Talk, context: Context) -> bool:
    """Whether every sign told is of over a month back, or of a time that nobody can place."""
    dated = said.any("dated.old", "dated.unplaced", "dated.christmas") or _year(said)
    if not dated and not _month_past(said.parse.tokens.words, context):
        return False
    told = [event for event in events(said.parse) if event.family in FAMILIES]
    if not told:
        return False
    looked_at = False
    for event in told:
        if scope.denied(said.parse, event) == "no" or scope.others(said.parse, event, True) == "no":
            continue
        stretch = _sentence_of(said, event.first)
        if _within(said, "dated.recent", stretch) or not _dated_long_ago(said, stretch, context):
            return False
        looked_at = True
    return looked_at


def of_long_ago(said: Talk, context: Context, tag: str) -> bool:
    """Whether each place of a tag is told of long ago, or of a time that nobody can place."""
    stretches = [_sentence_of(said, said.event(where).first) for where in said.places[tag]]
    return all(
        _dated_long_ago(said, stretch, context) and not _within(said, "dated.recent", stretch)
        for stretch in stretches
    )


def _dated_long_ago(said: Talk, stretch: tuple[int, int], context: Context) -> bool:
    if _within(said, "dated.old", stretch) or _within(said, "dated.unplaced", stretch):
        return True
    if _within(said, "dated.christmas", stretch):
        return context.today is None or context.today - _last_christmas(context.today) > LOOK_BACK
    words = said.parse.tokens.words[stretch[0] : stretch[1] + 1]
    if _month_past(words, context):
        return True
    this_year = context.today.year if context.today else 2100
    return any(_is_year(word) and int(word) < this_year for word in words)


# "In October", not "may" or "march" by themselves.
_BEFORE_A_MONTH = frozenset(
    {"in", "last", "since", "during", "early", "late", "en", "desde", "mid", "of", "de"}
)


def _month_past(words: Sequence[str], context: Context) -> bool:
    """Whether a month is named that ended longer ago than is looked back."""
    today = context.today
    if today is None:
        return False
    for before, word in pairwise(words):
        month = calendar_words.MONTHS.get(word)
        if month is None or before not in _BEFORE_A_MONTH or month == today.month:
            continue
        year = today.year if month < today.month else today.year - 1
        ended = date(year + month // 12, month % 12 + 1, 1)
        if today - ended > LOOK_BACK:
            return True
    return False


def _last_christmas(today: date) -> date:
    this = date(today.year, _CHRISTMAS_MONTH, _CHRISTMAS_DAY)
    return this if this <= today else this.replace(year=today.year - 1)


def _is_year(word: str) -> bool:
    return len(word) == 4 and word.isascii() and word.isdecimal() and 1920 <= int(word) < 2100


def _year(said: Talk) -> bool:
    return "digits" in said.parse.seen and any(map(_is_year, said.parse.tokens.words))


def back_reference(said: Talk, safety: Safety) -> bool:
    """Whether a fall is told again, not anew: "from when I fell", "as I said"."""
    if safety.of("fall").answer == "no" and not safety.of("fall").spans:
        return False
    return "dated.back_reference" in said and "dated.again" not in said


def head_struck(said: Talk) -> bool:
    return said.told("talk.head") is not None


def long_past_emergency(said: Talk, safety: Safety) -> bool:
    """Whether an emergency sign is passed over only because it was long ago."""
    known = safety.found.get("emergency")
    return (known is not None and known.answer == "no") and any(
        event.family == "emergency"
        and scope.denied(said.parse, event) is None
        and scope.others(said.parse, event, False) is None
        for event in events(said.parse)
    )


_PEOPLE = frozenset({"other.person", "other.kin", "other.pronoun", "other.household"})


def of_other(said: Talk, safety: Safety) -> bool:
    """Whether a sign is told of another person, and none of the client."""
    if safety.reported or safety.found == {} or said.parse.seen.isdisjoint(_PEOPLE):
        return False
    for event in events(said.parse):
        if scope.denied(said.parse, event) is None and _of_a_person(said.parse, event):
            return True
    return False


def _of_a_person(parse: Parse, event: Event) -> bool:
    theirs = event.form == "third" or scope.others(parse, event, things=False) == "no"
    return theirs and any(
        not parse.units[place].tags.isdisjoint(_PEOPLE) for place in sentence(parse, event.first)
    )
