"""What the words around a reported event do to it: deny it, give it to someone else, date it.

Every question looks a bounded number of units back or ahead, so the whole stays linear. An answer
of "no" needs plain evidence; thin evidence makes "unsure", and none leaves the report standing.
"""

from service.reply.units import Parse, Unit

BACK = 14
AHEAD = 12
_EVENTS = ("fall.", "pain.", "dizzy.", "emergency.")


def is_event(unit: Unit) -> bool:
    return any(tag.startswith(_EVENTS) for tag in unit.tags)


def _is_noun(unit: Unit) -> bool:
    return any(tag.endswith(".noun") or tag == "emergency.sign" for tag in unit.tags)


def _bare(units: list[Unit], index: int) -> bool:
    """Whether nothing is said of the event itself: it stands alone in a list of things denied."""
    if index + 1 >= len(units):
        return True
    tags = units[index + 1].tags
    return not tags.isdisjoint({"stop", "comma", "scope.or", "side", "number", "digits"})


def denied(parse: Parse, index: int) -> str | None:
    """ "no" where the event is plainly denied, "unsure" where it may be, None where it is not."""
    return _denied_before(parse, index) or _denied_after(parse, index)


def _denied_before(parse: Parse, index: int) -> str | None:
    units = parse.units
    noun = _is_noun(units[index])
    unknown = 0
    listed = listed_or = False
    for place in range(index - 1, max(-1, index - BACK), -1):
        tags = units[place].tags
        if "neg.degree" in tags:
            return "unsure"
        if "neg.strong" in tags or ("neg.no" in tags and (noun or listed)):
            if listed and not listed_or and not _bare(units, index):
                return None
            return "unsure" if unknown else "no"
        if "scope.or" in tags:
            listed = True
            listed_or = listed_or or units[place].word in ("or", "nor")
        elif "comma" in tags:
            listed = True
        elif is_event(units[place]) and (listed or place == index - 1):
            if not _bare(units, place) and not listed:
                return None
        elif "scope.through" in tags or "self.my" in tags or "idiom.none" in tags:
            continue
        elif "body" in tags or "side" in tags:
            if listed and not listed_or:
                return None
        elif "unknown" in tags:
            unknown += 1
            if unknown > 1:
                return None
        else:
            return None
    return None


def _denied_after(parse: Parse, index: int) -> str | None:
    units = parse.units
    place = index + 1
    while place < len(units) and (
        units[place].word in (":", "=", "-", "?", "is", "was", "has", "level", "score")
    ):
        place += 1
    if place >= len(units) or "neg.after" not in units[place].tags:
        return None
    following = units[place + 1] if place + 1 < len(units) else None
    if following is None or not following.tags.isdisjoint({"stop", "comma"}):
        return "no"
    if units[place].word == "no" or is_event(following):
        return None
    return "no"


_LIGHT = frozenset({"scope.through", "near.before", "idiom.light"})


def others(parse: Parse, index: int, fall: bool) -> str | None:
    """ "no" where the event plainly is someone else's, "unsure" where it may be, else None."""
    units = parse.units
    adjacent = True
    for place in range(index - 1, max(-1, index - BACK), -1):
        unit = units[place]
        tags = unit.tags
        if "self.i" in tags or "self.my" in tags:
            return None
        if "stop" in tags:
            return None
        if "comma" in tags or "scope.but" in tags:
            adjacent = False
            continue
        if "other.kin" in tags:
            return "unsure"
        if "other.it" in tags and fall and adjacent:
            return "no"
        if not tags.isdisjoint({"other.person", "other.animal", "other.pronoun"}) or (
            fall and not tags.isdisjoint({"other.thing", "other.professional"})
        ):
            return _belongs(units, place, adjacent)
        if not tags.isdisjoint(_LIGHT):
            continue
        adjacent = adjacent and "body" in tags
    return None


def _belongs(units: list[Unit], place: int, adjacent: bool) -> str | None:
    """What an other person or thing at `place` makes of an event after it."""
    if adjacent:
        return "no"
    before = units[place - 1].tags if place else frozenset()
    if "of.before_noun" in before:
        return None
    for earlier in range(place - 1, max(-1, place - BACK), -1):
        tags = units[earlier].tags
        if "stop" in tags:
            break
        if "self.i" in tags:
            return None
    return "unsure"


def long_ago(parse: Parse, index: int) -> bool:
    """Whether the sentence dates the event more than a month back."""
    units = parse.units
    old = False
    for step, limit in ((-1, BACK), (1, AHEAD)):
        place = index + step
        for _ in range(limit):
            if not 0 <= place < len(units) or "stop" in units[place].tags:
                break
            tags = units[place].tags
            if "old.recent" in tags:
                return False
            if step > 0 and is_event(units[place]):
                break
            old = old or "old.long" in tags or _many_weeks(units, place) or _past_year(units, place)
            place += step
    return old


def _many_weeks(units: list[Unit], place: int) -> bool:
    if "old.weeks" not in units[place].tags or not place:
        return False
    number = units[place - 1].value or units[place - 1].word
    return number.isdigit() and int(number) > 4


def _past_year(units: list[Unit], place: int) -> bool:
    word = units[place].word
    return (
        place > 0
        and word.isdigit()
        and 1930 <= int(word[:5]) <= 2100
        and units[place - 1].word in ("in", "since", "of", "from")
    )


def supposed(parse: Parse, index: int) -> bool:
    """Whether the event is feared, asked about or supposed, not told."""
    units = parse.units
    for place in range(index - 1, max(-1, index - 7), -1):
        tags = units[place].tags
        if not tags.isdisjoint({"stop", "comma", "scope.but"}):
            return False
        if "suppose.that" in tags:
            return True
    return False


def nearly(parse: Parse, index: int) -> bool:
    """Whether it almost happened: "nearly fell", "went over but caught myself"."""
    units = parse.units
    for place in range(index - 1, max(-1, index - 5), -1):
        tags = units[place].tags
        if "near.before" in tags:
            return True
        if tags.isdisjoint({"scope.through", "self.i"}):
            break
    return False


def caught(parse: Parse, index: int) -> bool:
    """Whether the client says that they caught themselves, in the same sentence."""
    units = parse.units
    for step, limit in ((1, AHEAD), (-1, BACK)):
        place = index + step
        for _ in range(limit):
            if not 0 <= place < len(units) or "stop" in units[place].tags:
                break
            if "near.caught" in units[place].tags:
                return True
            place += step
    return False
