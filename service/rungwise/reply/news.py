"""News of the client's health and life, and words of despair."""

from typing import Literal

from rungwise.reply.numbers import has_tag
from rungwise.reply.reading import News
from rungwise.reply.talk import Talk, Where
from rungwise.reply.units import sentence

# The gravest first: one text may tell several.
_ORDER: tuple[Literal["distress", "clinician", "health", "loss", "home"], ...] = (
    "distress",
    "clinician",
    "health",
    "loss",
    "home",
)


def news(said: Talk) -> News | None:
    """What is told beside the practice; somebody else's illness is none, a death always is."""
    if "news" not in said.tables:
        return None
    for name in _ORDER:
        tag = f"news.{name}"
        if tag not in said:
            continue
        if name in ("loss", "home"):
            return name
        if name == "distress" and not all(_theirs(said, where) for where in said.places[tag]):
            return name
        if name == "clinician" and _of_the_client(said, tag):
            return name
        if name == "health" and any(_own(said, where) for where in said.places[tag]):
            return name
    return None


_PERSONS = ("other.person", "other.kin", "other.household", "other.animal")
_ME = frozenset({"me", "i", "i'm", "im", "i've", "ive", "yo"})


def _own(said: Talk, where: Where) -> bool:
    return not said.denied(where) and not _theirs(said, where)


def _theirs(said: Talk, where: Where) -> bool:
    """Whether it is of another person; "they found a clot in my leg" is the client's own."""
    if not said.others(where):
        return False
    words = said.parse.tokens.words[where[0] : where[1] + 1]
    return _ME.isdisjoint(words) and not _own_body(said, where)


_MY = frozenset({"my", "mi", "mis"})


def _own_body(said: Talk, where: Where) -> bool:
    """Whether something of one's own is spoken of, that is no person: "my lung", "my pressure"."""
    units, words = said.parse.units, said.parse.tokens.words
    for place in sentence(said.parse, said.event(where).first):
        unit = units[place]
        if _MY.isdisjoint(words[unit.start : unit.end]) or has_tag(said.parse, place, *_PERSONS):
            continue
        if unit.end - unit.start > 1 or not has_tag(said.parse, place + 1, *_PERSONS):
            return True
    return False


def _of_the_client(said: Talk, tag: str) -> bool:
    """Whether a clinician's word is not about somebody else: "the vet says the cat"."""
    return any(not _about_another(said, where[1]) for where in said.places[tag])


def _about_another(said: Talk, last: int) -> bool:
    units = said.parse.units
    after = [unit.tags for unit in units if last <= unit.start <= last + 3]
    return any(not tags.isdisjoint({"other.person", "other.animal"}) for tags in after)


def perhaps_despair(said: Talk) -> bool:
    """Words that may be despair, with nothing of the exercise in them."""
    return "news.perhaps_distress" in said and said.parse.seen.isdisjoint(
        {"digits", "number", "exercise.during", "count.hold_words"}
    )


def of_somebody_else(said: Talk) -> bool:
    """Whether health news is told of somebody else: "my husband is in hospital"."""
    places = said.places.get("news.health", ())
    return bool(places) and all(_theirs(said, where) for where in places)
