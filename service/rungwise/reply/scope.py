"""What the words around a mention do to it: deny it, give it to someone else, date it.

Every question looks a bounded number of units back or ahead, so the whole stays linear. An answer
of "no" needs plain evidence; thin evidence makes "unsure", and none leaves the report standing.
"""

from typing import Literal

from rungwise.ladder.stance import Answer
from rungwise.reply.events import Event, is_event
from rungwise.reply.units import Parse, Unit

Doubt = Literal["no", "unsure"] | None

BACK = 14
AHEAD = 14
_LIST_ENDS = frozenset({"stop", "comma", "scope.or", "side", "number", "digits", "old.recent"})


def denied(parse: Parse, event: Event, after: bool = True) -> Doubt:
    """Whether it is plainly denied ("no"), perhaps ("unsure"), or stands (None).

    Without `after` nothing behind it denies it: "not steady, no" says it twice.
    """
    found = _denied_before(parse, event)
    if found is None and after:
        found = _denied_after(parse, event)
    if found == "no" and not parse.seen.isdisjoint({"scope.undone", "scope.close"}):
        return _taken_back(parse, event)
    return found


def _taken_back(parse: Parse, event: Event) -> Doubt:
    """What is left of a denial: "never fell before but did today", "didn't, but nearly"."""
    for place in range(event.last + 1, min(len(parse.units), event.last + AHEAD)):
        tags = parse.units[place].tags
        if "scope.undone" in tags:
            return "no" if _something_else(parse, event, place) else None
        if "scope.close" in tags:
            return "unsure"
        if "stop" in tags:
            break
    return "no"


def _something_else(parse: Parse, event: Event, place: int) -> bool:
    """Whether "but I did" at `place` goes on to another thing: "not dizzy but I did fall"."""
    after = place + 1
    while after < len(parse.units) and "scope.through" in parse.units[after].tags:
        after += 1
    if after >= len(parse.units) or not is_event(parse.units[after]):
        return False
    return not any(tag.startswith(event.family) for tag in parse.units[after].tags)


_EITHER = frozenset({"or", "nor", "o", "u", "ni"})
_PASSES = frozenset({"scope.through", "self.my", "neg.no"})


class _Denial:
    """The walk back from a mention to a word that denies it, if nothing comes between."""

    def __init__(self, parse: Parse, event: Event) -> None:
        self.parse = parse
        self.event = event
        self.noun = event.form != "verb" and (event.family, event.form) != ("fall", "phrase")
        self.unknown = 0
        self.listed = False
        self.either = False
        self.body = False

    def blocks(self, place: int) -> bool:
        """Takes in the unit at `place`; true when it stops a denial before it."""
        unit = self.parse.units[place]
        tags = unit.tags
        if not tags.isdisjoint({"scope.or", "comma"}):
            self.listed = True
            self.either = self.either or unit.word in _EITHER
            return False
        if is_event(unit):
            return not (self.listed or place == self.event.first - 1)
        if "body" in tags:
            self.body = True
            return self.listed and not self.either
        if "unknown" in tags:
            self.unknown += 1
            return self.unknown > 1
        return not tags.isdisjoint({"scope.but", "stop"}) or tags.isdisjoint(_PASSES)

    def verdict(self, strong: bool, place: int) -> Doubt:
        """What a denying word at `place` amounts to."""
        after = self.parse.units[place + 1].tags
        if not after.isdisjoint({"comma", "stop"}):
            return None  # "no, fell again" answers; it denies nothing
        alone = self.event.form != "verb" and _bare(self.parse.units, self.event.last)
        if self.listed and not self.either and not alone:
            return None
        if not strong and self.body and self._own_body(place):
            return None
        return "unsure" if self.unknown else "no"

    def _own_body(self, place: int) -> bool:
        """Whether a statement about one's own body opens after `place`: "no my knee is sore"."""
        parse = self.parse
        return any(
            "body" in unit.tags and parse.tokens.words[unit.start] in parse.lexicon.opens
            for unit in parse.units[place + 1 : self.event.first]
        )


def _bare(units: list[Unit], index: int) -> bool:
    """Whether nothing is said of the thing itself: it only stands in a list of things denied."""
    return index + 1 >= len(units) or not units[index + 1].tags.isdisjoint(_LIST_ENDS)


def _denied_before(parse: Parse, event: Event) -> Doubt:
    units = parse.units
    walk = _Denial(parse, event)
    for place in range(event.first - 1, max(-1, event.first - BACK), -1):
        tags = units[place].tags
        if "neg.slight" in tags:
            return None
        if "neg.doubt" in tags:
            return "unsure"
        strong = "neg.strong" in tags
        if strong or ("neg.no" in tags and (walk.noun or walk.listed)):
            return walk.verdict(strong, place)
        if "steady.denied" in tags and walk.listed:
            return walk.verdict(False, place)
        if walk.blocks(place):
            return None
    return None


def _denied_after(parse: Parse, event: Event) -> Doubt:
    """ "Pain: none", "falls - 0", "pain? no"."""
    units = parse.units
    place = event.last + 1
    while place < len(units) and (
        units[place].word in (":", "=", "-", "?") or units[place].tags == {"scope.through"}
    ):
        place += 1
    if place >= len(units) or "neg.after" not in units[place].tags:
        return None
    following = units[place + 1] if place + 1 < len(units) else None
    if following is None or not following.tags.isdisjoint(
        {"stop", "comma", "mark", "scope.or", "old.recent", "scope.but"}
    ):
        return "no"
    return "no" if is_event(following) and "neg.count" in units[place].tags else None


def for_another(parse: Parse) -> bool:
    """Whether someone else writes for the client, and says so: "It's Jean's son, Mum fell"."""
    if "carer.phrase" in parse.seen:
        return True
    if _named_here(parse):
        return True
    for place in parse.places("carer.relation"):
        for before in range(place - 1, max(-1, place - 6), -1):
            tags = parse.units[before].tags
            # "This is Karen" may be read as a question of what is Karen.
            if "carer.this" in tags or (before == 0 and "other.it" in tags):
                return True
            if not tags.isdisjoint({"stop", "self.my", "old.recent", "before.person"}):
                break
    return False


def _named_here(parse: Parse) -> bool:
    """ "Peter here, Dad is dizzy": a name that opens the text, and a parent or grandparent."""
    units = parse.units
    return (
        len(units) > 2
        and units[0].tags == {"unknown"}
        and "carer.here" in units[1].tags
        and "other.kin" in parse.seen
    )


_SUBJECTS = frozenset({"other.person", "other.animal", "other.pronoun", "other.kin"})
_THINGS = frozenset({"other.thing", "other.professional", "other.it"})
_LIGHT = frozenset({"scope.through", "near.before", "other.loose", "old.recent", "neg.strong"})


def others(parse: Parse, event: Event, things: bool) -> Doubt:
    """Whether it plainly is someone else's ("no"), perhaps ("unsure"), or the client's (None).

    With `things`, a thing can have done it: a vase falls, but has no pain.
    """
    units = parse.units
    words = parse.tokens.words[units[event.first].start : units[event.last].end]
    own = parse.lexicon.selves.intersection(words)
    if own and not (own <= parse.lexicon.owners and _subject_before(parse, event)):
        return None
    theirs = event.family != "steady" and not parse.lexicon.theirs.isdisjoint(words)
    if theirs and not for_another(parse):
        return "no"
    subjects = _SUBJECTS | _THINGS if things else _SUBJECTS
    adjacent = True
    for place in range(event.first - 1, max(-1, event.first - BACK), -1):
        tags = units[place].tags
        if not tags.isdisjoint({"self.i", "self.my", "stop"}):
            return _named(parse, event) if _could_be_named(event) else None
        opened = "body" in tags and parse.tokens.words[units[place].start] in parse.lexicon.opens
        if opened or ("other.they" in tags and event.family == "pain" and _own_parts(parse)):
            return None
        if not tags.isdisjoint(subjects):
            return _belongs(parse, place, adjacent)
        if not tags.isdisjoint({"comma", "scope.but"}):
            adjacent = False
        elif tags.isdisjoint(_LIGHT):
            adjacent = adjacent and (
                "body" in tags
                or is_event(units[place])
                or "wobbly.word" in tags
                or _name_of(units, place, subjects)
            )
    return _named(parse, event) if _could_be_named(event) else None


def _could_be_named(event: Event) -> bool:
    return event.family == "fall" and event.form in ("verb", "phrase", "last", "doubt")


def _subject_before(parse: Parse, event: Event) -> bool:
    """Whether someone stands right before it: "the boy fell in our pond"."""
    place = event.first - 1
    return place >= 0 and not parse.units[place].tags.isdisjoint(_SUBJECTS)


def _own_parts(parse: Parse) -> bool:
    """Whether "they" hurt may be the client's knees: of people, nobody else is spoken of."""
    return parse.seen.isdisjoint({"other.person", "other.kin", "other.animal"})


def third_person(parse: Parse, event: Event) -> Answer:
    """A verb in the third person: someone else's, unless that one's carer writes."""
    if denied(parse, event) == "no":
        return "no"
    if for_another(parse):
        return "yes"
    near = range(max(0, event.first - 5), min(len(parse.units), event.last + 6))
    whose = _SUBJECTS | {"other.thing", "other.professional"}
    tags = frozenset[str]().union(*(parse.units[p].tags for p in near)) & whose
    # "Se cayó mi mamá": whoever writes so may write of the client.
    return "no" if tags - {"other.kin"} else "unsure"


def _name_of(units: list[Unit], place: int, subjects: frozenset[str]) -> bool:
    """Whether an unknown word is the name of the person before it: "my friend Joan"."""
    return (
        "unknown" in units[place].tags
        and place > 0
        and not units[place - 1].tags.isdisjoint(subjects)
    )


def _belongs(parse: Parse, place: int, adjacent: bool) -> Doubt:
    """What an other person or thing at `place` makes of a mention after it."""
    units = parse.units
    if for_another(parse) and not units[place].tags.isdisjoint(_SUBJECTS):
        return None
    if adjacent:
        return "unsure" if "other.kin" in units[place].tags else "no"
    if place and "before.person" in units[place - 1].tags:
        return None
    if units[place].tags.isdisjoint(_SUBJECTS - {"other.animal"}):
        return None  # "it was icy, fell twice": a thing does not go on past a pause
    for earlier in range(place - 1, max(-1, place - BACK), -1):
        tags = units[earlier].tags
        if "stop" in tags:
            break
        if "self.i" in tags:
            return None
    return "unsure"


def a_market(parse: Parse, event: Event) -> bool:
    """Whether what took a tumble right before it is a market: "the stock market took a tumble"."""
    place = event.first - 1
    if place < 0 or "other.market" not in parse.units[place].tags:
        return False
    before = parse.units[place - 1].tags if place else frozenset[str]()
    return before.isdisjoint({"before.person", "scope.to_place", "count.clock"})


def a_neighbours(parse: Parse, event: Event) -> bool:
    """Whether right before it stands a name with where they live: "Bob next door collapsed"."""
    where = event.first - 1
    if where < 1 or "other.where" not in parse.units[where].tags or for_another(parse):
        return False
    return "unknown" in parse.units[where - 1].tags and parse.capital(where - 1)


def _named(parse: Parse, event: Event) -> Doubt:
    """A name or a thing that no list knows, right before what it did: "Joan fell"."""
    place = event.first - 1 - a_neighbours(parse, event)
    if place < 0 or "unknown" not in parse.units[place].tags or for_another(parse):
        return None
    if event.form != "verb" and not parse.capital(place):
        return None
    before = parse.units[place - 1].tags if place else frozenset[str]()
    if "before.our" in before:
        return "no"  # "our Doris fell"
    if not before.isdisjoint({"before.person", "scope.to_place", "unknown", "polite.word"}):
        return None
    far = parse.units[place - 2].tags if place > 1 else frozenset[str]()
    if "scope.through" in before and not far.isdisjoint({"before.person", "scope.to_place"}):
        return None
    return "unsure"


def long_ago(parse: Parse, event: Event) -> bool:
    """Whether the sentence dates it more than a month back."""
    if parse.seen.isdisjoint({"old.long", "old.weeks", "digits"}):
        return False
    units = parse.units
    old = False
    for step, start, limit in ((-1, event.first - 1, BACK), (1, event.last + 1, AHEAD)):
        place = start
        for _ in range(limit):
            if not 0 <= place < len(units) or "stop" in units[place].tags:
                break
            tags = units[place].tags
            if "old.recent" in tags and not _none_of_late(units, place):
                return False
            if step > 0 and old and "comma" in tags and _goes_on_to_the_hold(units, place):
                break
            if step > 0 and is_event(units[place]) and not old:
                break
            old = old or "old.long" in tags or _many_weeks(units, place) or _past_year(units, place)
            place += step
    return old


def _none_of_late(units: list[Unit], place: int) -> bool:
    """ "nothing lately", "none now", "ahora no": it does not bring an old story up to date."""
    beside = (place - 1, place + 1)
    return any(
        0 <= p < len(units) and not units[p].tags.isdisjoint({"neg.after", "neg.strong"})
        for p in beside
    )


def _goes_on_to_the_hold(units: list[Unit], place: int) -> bool:
    """Whether the hold is told after this comma: "sore years ago, 20 today"."""
    return place + 1 < len(units) and not units[place + 1].tags.isdisjoint({"digits", "number"})


def _many_weeks(units: list[Unit], place: int) -> bool:
    if "old.weeks" not in units[place].tags or not place:
        return False
    number = units[place - 1].values.get("number", units[place - 1].word)
    return number.isdecimal() and int(number[:6]) > 4


def _past_year(units: list[Unit], place: int) -> bool:
    """ "in 2019": a reader without a calendar can't tell this year, so any year is doubtful."""
    word = units[place].word
    return (
        len(word) == 4
        and word.isdecimal()
        and 1920 <= int(word) <= 2100
        and "digits" in units[place].tags
    )


def nearly(parse: Parse, event: Event) -> bool:
    """Whether it almost happened: "nearly fell"."""
    units = parse.units
    for place in range(event.first - 1, max(-1, event.first - 6), -1):
        tags = units[place].tags
        if not tags.isdisjoint({"near.before", "fall.near", "scope.close"}):
            return True
        if tags.isdisjoint({"scope.through", "self.i", "self.my"}):
            break
    return False


def felt_like(parse: Parse, event: Event, within: int = 6) -> bool:
    """Whether the client felt it coming: "thought I was going to fall"."""
    units = parse.units
    for place in range(event.first - 1, max(-1, event.first - 1 - within), -1):
        tags = units[place].tags
        if "stop" in tags:
            return False
        if "near.felt" in tags:
            return True
    return False


def caught(parse: Parse, event: Event) -> bool:
    """Whether the client says, after it in the same sentence, that they caught themselves."""
    if "near.caught" not in parse.seen:
        return False
    units = parse.units
    for place in range(event.last + 1, min(len(units), event.last + AHEAD)):
        tags = units[place].tags
        if "stop" in tags:
            return False
        if "near.caught" in tags:
            return True
    return False
