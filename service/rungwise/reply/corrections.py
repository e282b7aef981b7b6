"""One number put right by another in the same text: "20, sorry 25"."""

from rungwise.reply.numbers import Quantity, has_tag, word_at
from rungwise.reply.units import Parse


def corrected(parse: Parse, held: list[Quantity]) -> list[Quantity]:
    """ "20, sorry 25" is 25; "25 not 20" is 25; "not 20 but 25" is 25."""
    kept: list[Quantity] = []
    for number, quantity in enumerate(held):
        before = quantity.first - 1
        if kept and has_tag(parse, before, "join.not") and number:
            continue
        if kept and _denied_first(parse, kept[-1], quantity):
            kept.pop()
        if kept and (
            _swapped(parse, kept[-1].last + 1, quantity.first) or _starred(parse, quantity)
        ):
            kept.pop()
        kept.append(quantity)
    return kept


def _denied_first(parse: Parse, one: Quantity, two: Quantity) -> bool:
    """ "no 20, solo 12"."""
    if not has_tag(parse, one.first - 1, "join.not"):
        return False
    return any(has_tag(parse, place, "scope.but") for place in range(one.last + 1, two.first))


def _starred(parse: Parse, quantity: Quantity) -> bool:
    """A correction as people star it, on a line of its own: "21", then "12*"."""
    after, before = quantity.last + 1, quantity.first - 1
    ends = after + 1 >= len(parse.units) or has_tag(parse, after + 1, "stop")
    return ends and word_at(parse, after) == "*" and has_tag(parse, before, "stop")


_HOW = ("steady.firm", "steady.praise", "steady.denied", "wobbly.word", "wobbly.touch")


def _swapped(parse: Parse, first: int, last: int) -> bool:
    """Whether only words of correction, after how the hold went, stand between two numbers."""
    if any(has_tag(parse, place, "join.wait") for place in range(first, last)):
        return last - first <= _AFTERTHOUGHT  # "15, no wait it was the long hand, 20"
    found = how = False
    for place in range(first, last):
        if how and has_tag(parse, place, "side"):
            return False  # "left 20 steady, sorry right 12": the other side's
        if has_tag(parse, place, "join.swap"):
            found = True
        elif not found and has_tag(parse, place, *_HOW):
            how = True
        elif not has_tag(
            parse, place, "comma", "stop", "mark", "scope.through", "scope.but", "polite.word"
        ):
            return False
    return found


# How many words may stand between a number taken back and the right one.
_AFTERTHOUGHT = 10
