"""What kind of message a reply is, and how it answers what was asked."""

from dataclasses import dataclass

from service.reply.lexicon import Lexicon
from service.reply.reading import Context
from service.reply.units import Parse

_YES_NO = frozenset({"fall_yes_no", "pain_yes_no", "dizzy_yes_no", "hurt"})
_FILLER = frozenset({"stop", "comma", "mark", "polite.word", "asks"})


@dataclass(frozen=True, slots=True)
class Opening:
    """The answer or keyword that a text opens with, over tokens 0..end, and whether it is all."""

    tags: frozenset[str] = frozenset()
    start: int = 0
    end: int = 0
    whole: bool = False


def opening(parse: Parse, lexicon: Lexicon) -> Opening:
    """The longest answer or keyword after any greeting; `whole` if only courtesies are left."""
    words = parse.tokens.words
    start = 0
    for unit in parse.units:
        if unit.tags.isdisjoint(_FILLER) or unit.word in lexicon.answers.following:
            break
        start = unit.end
    node = lexicon.answers.following.get(words[start]) if start < len(words) else None
    end, place, tags = start, start, frozenset[str]()
    while node is not None:
        place += 1
        if node.entry is not None:
            end, tags = place, node.entry.tags
        node = node.following.get(words[place]) if place < len(words) else None
    if not tags:
        return Opening()
    rest = [u for u in parse.units if u.end > end]
    again = words[start:end]
    whole = all(not u.tags.isdisjoint(_FILLER) or u.word in again for u in rest)
    return Opening(tags, start, end, whole)


def answer(opening: Opening, context: Context, settled: bool) -> str | None:
    """yes or no to what was asked. `settled`: "fine" answers it too (not for a fall)."""
    if "yes.word" in opening.tags:
        return "yes"
    if "no.word" in opening.tags:
        return "no"
    if "no.fine" in opening.tags and context.asked in _YES_NO and context.asked != "fall_yes_no":
        return "no"
    return None


def tagged(parse: Parse, tag: str) -> list[int]:
    return [index for index, unit in enumerate(parse.units) if tag in unit.tags]
