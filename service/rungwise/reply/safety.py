"""Falls, pain, dizziness and emergency signs, each with the words behind it."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from rungwise.ladder.stance import Answer
from rungwise.reply import scope, supposing
from rungwise.reply.events import Event, events
from rungwise.reply.reading import Span
from rungwise.reply.units import Parse, clause, sentence

_RANK = {"no": 0, "unsure": 1, "yes": 2}


@dataclass(frozen=True, slots=True)
class Found:
    """One field's answer and the words behind it; no words when nothing was said about it."""

    answer: Answer = "no"
    spans: tuple[Span, ...] = ()

    def stronger(self, answer: Answer, span: Span) -> "Found":
        """With one more mention: the strongest answer wins, and keeps its own words."""
        if _RANK[answer] > _RANK[self.answer]:
            return Found(answer, (span,))
        if answer == self.answer and self.spans[-1:] != (span,):
            return Found(answer, (*self.spans, span))
        return self


@dataclass(frozen=True, slots=True)
class Safety:
    """All four fields, the body part, and the units told of in a fall (for steadiness)."""

    found: dict[str, Found] = field(default_factory=dict)
    body_part: str | None = None
    body_spans: tuple[Span, ...] = ()
    falls: tuple[int, ...] = ()
    told: frozenset[int] = frozenset()
    elsewhere: frozenset[int] = frozenset()

    def of(self, family: str) -> Found:
        return self.found.get(family, _NOTHING)

    @property
    def reported(self) -> bool:
        return any(found.answer != "no" for found in self.found.values())


_NOTHING = Found()
_SILENT = Safety()


def _said(parse: Parse, event: Event, doubtful: bool, things: bool) -> Answer:
    """What one mention comes to, after everything said around it."""
    if event.form == "third":
        return scope.third_person(parse, event)
    if event.family == "fall" and scope.felt_like(parse, event, 2):
        doubtful = True
    denied = scope.denied(parse, event)
    others = scope.others(parse, event, things) if denied != "no" else None
    if "no" in (denied, others):
        return "no"
    if supposing.supposed(parse, event):
        return "unsure" if scope.felt_like(parse, event) and event.family == "fall" else "no"
    if denied or others or doubtful or scope.long_ago(parse, event) or scope.nearly(parse, event):
        return "unsure"
    return "yes"


def _fall(parse: Parse, event: Event) -> Answer:
    if event.form == "last" and not closes(parse, event.last):
        return _went(parse, event)
    if event.form in ("near", "stance"):
        denied = scope.denied(parse, event) == "no"
        return "no" if denied or scope.others(parse, event, things=True) == "no" else "unsure"
    things = event.form != "phrase" or scope.a_market(parse, event)
    answer = _said(parse, event, event.form == "doubt", things)
    if answer == "yes" and scope.caught(parse, event):
        return "unsure"
    return answer


def _went(parse: Parse, event: Event) -> Answer:
    """ "went over" with more after it: to a place or a number it is no fall, else it may be."""
    after = parse.units[event.last + 1]
    if after.word == "to":
        return "no"
    if not after.tags.isdisjoint({"digits", "number", "unknown", "scope.through", "other.it"}):
        return "no"
    return "no" if _said(parse, event, True, things=True) == "no" else "unsure"


_CLOSERS = frozenset(
    {"stop", "comma", "scope.or", "scope.but", "old.recent", "self.i", "self.my", "mark"}
)


def closes(parse: Parse, index: int) -> bool:
    """Whether unit `index` ends its clause."""
    return index + 1 >= len(parse.units) or not parse.units[index + 1].tags.isdisjoint(_CLOSERS)


def _pain(parse: Parse, event: Event) -> Answer:
    if event.form == "none":
        return "no"
    return _said(parse, event, event.form == "doubt", things=False)


def _dizzy(parse: Parse, event: Event) -> Answer:
    answer = _said(parse, event, event.form == "doubt", things=False)
    if answer == "unsure" and event.form != "doubt" and scope.nearly(parse, event):
        return "yes"
    return answer


_WORSE = (
    "fall.",
    "dizzy.",
    "emergency.f",
    "emergency.up",
    "emergency.sign",
    "emergency.called",
    "down.",
    "floor.hard",
)


def _anothers(parse: Parse, event: Event) -> bool:
    """Whether somebody else is spoken of before it in its sentence, and the client is not hurt."""
    first = sentence(parse, event.first).start
    before = [parse.units[place].tags for place in range(first, event.first)]
    own = any(not tags.isdisjoint({"fall.verb", "fall.phrase", "self.i"}) for tags in before)
    return not own and any(not tags.isdisjoint({"other.person", "other.kin"}) for tags in before)


def _for_somebody_else(parse: Parse, event: Event) -> bool:
    """Whether a sign beyond a pause is of what somebody else's fall came to, told before it."""
    around = sentence(parse, event.first)
    if any(not parse.units[p].tags.isdisjoint({"self.i", "self.my"}) for p in around):
        return False
    near = frozenset({"other.kin", "other.household"})
    if any(not parse.units[place].tags.isdisjoint(near) for place in around):
        return False  # "Mum collapsed, ambulance called": a carer may write so of the client
    return any(_fell_instead(parse, place) for place in range(around.start, event.first))


def _by_somebody(parse: Parse, event: Event) -> bool:
    """ "my daughter called an ambulance": she called it, and nobody is said to need it but them."""
    before = frozenset[str]() if not event.first else parse.units[event.first - 1].tags
    return "other.person" in before and scope.denied(parse, event) is None


def _fell_instead(parse: Parse, place: int) -> bool:
    """Whether the fall told at `place`, if any, is plainly somebody else's."""
    tags = parse.units[place].tags
    if "fall.third" in tags:
        fall = Event("fall", "third", place, place)
        return scope.third_person(parse, fall) == "no" and scope.denied(parse, fall) is None
    if "fall.verb" not in tags:
        return False
    fall = Event("fall", "verb", place, place)
    whose = scope.others(parse, fall, things=False)
    if scope.a_neighbours(parse, fall):
        return whose is not None
    known = any("other.person" in unit.tags for unit in parse.units[:place][-scope.BACK :])
    return known and whose == "no"


def _emergency(parse: Parse, event: Event) -> Answer:
    if event.form == "knock" and not any(tag.startswith(_WORSE) for tag in parse.seen):
        # A head bumped on a cupboard: no more than that where the hold is told as ever.
        return "yes" if parse.seen.isdisjoint({"digits", "number"}) else "no"
    if event.form == "hospital" and _anothers(parse, event):
        return "no"  # "my husband had a stroke so I'm at the hospital"
    if event.form in ("sign", "called") and _for_somebody_else(parse, event):
        return "no"  # "Bob next door collapsed, ambulance been"
    if event.form == "called" and _by_somebody(parse, event):
        return "yes"
    answer = _said(parse, event, False, things=False)
    if answer == "unsure" and not scope.long_ago(parse, event):
        return "no" if scope.nearly(parse, event) else "yes"
    return "no" if answer == "unsure" else answer


_READERS = {"fall": _fall, "pain": _pain, "dizzy": _dizzy, "emergency": _emergency}


_OTHER_SIGNS = frozenset({"away.place", "net.fall", "floor.hard", "scope.close", "near.caught"})


def read_safety(parse: Parse) -> Safety:
    """Every mention counts; the strongest answer of each field wins."""
    mentions = events(parse)
    if not mentions and parse.seen.isdisjoint(_OTHER_SIGNS):
        return _SILENT
    found: dict[str, Found] = {}
    felt: list[Event] = []
    struck: list[Event] = []
    falls: list[int] = []
    told: list[int] = []
    for event in mentions:
        answer = _READERS[event.family](parse, event)
        span = parse.span(event.first, event.last)
        found[event.family] = found.get(event.family, _NOTHING).stronger(answer, span)
        if answer != "no":
            told.append(event.first)
            if event.family == "fall" and event.form != "stance":
                falls.append(event.first)
            if event.family == "pain":
                felt.append(event)
            elif event.family in ("emergency", "fall"):
                struck.append(event)
    elsewhere = _elsewhere(parse, found)
    if "fall" not in found and {"scope.close", "near.caught"} <= parse.seen:
        place = parse.places("scope.close")[0]
        found["fall"] = Found("unsure", (parse.span(place, place),))
    if "fall" not in found:
        _caught_in_the_net(parse, found)
    body, spans = _body(parse, felt, struck)
    if felt:
        _chest(found, body, parse.span(felt[0].first, felt[0].last))
    return Safety(found, body, spans, tuple(falls), frozenset(told), elsewhere)


def _elsewhere(parse: Parse, found: dict[str, Found]) -> frozenset[int]:
    """Grabbing or losing balance away from the hold: a near fall, and nothing about the hold."""
    if parse.seen.isdisjoint({"away.place", "near.caught"}):
        return frozenset()
    places: set[int] = set()
    for index, unit in enumerate(parse.units):
        if unit.tags.isdisjoint({"wobbly.touch", "wobbly.balance"}):
            continue
        around = sentence(parse, index)
        away = any("away.place" in parse.units[place].tags for place in around)
        held = any(
            not parse.units[place].tags.isdisjoint({"digits", "number", "unit.seconds"})
            for place in clause(parse, index)
        )
        event = Event("fall", "noun", index, index)
        if "wobbly.balance" in unit.tags and parse.seen.isdisjoint({"digits", "number"}):
            # "staggered into the wall but didn't go down"
            away = away or any("near.caught" in parse.units[place].tags for place in around)
        if not away or held or scope.denied(parse, event) or scope.others(parse, event, True):
            continue
        places.add(index)
        span = parse.span(index, index)
        found["fall"] = found.get("fall", _NOTHING).stronger("unsure", span)
    return frozenset(places)


def perhaps_a_fall(parse: Parse, safety: Safety) -> Safety:
    """Where nothing else was understood, a word of coming down or of harm is asked about."""
    if safety.of("fall").spans:
        return safety
    for index in parse.places("net.loose"):
        event = Event("fall", "noun", index, index)
        if scope.denied(parse, event) or scope.others(parse, event, True):
            continue
        if supposing.supposed(parse, event):
            continue
        found = {**safety.found, "fall": Found("unsure", (parse.span(index, index),))}
        return replace(safety, found=found)
    return safety


# Parts that are spoken of for much else than that they hurt.
_SPOKEN_OF = frozenset(
    {"hand", "finger", "face", "eye", "ear", "tooth", "head", "stomach", "throat", "side"}
)


def _not_the_part(parse: Parse, index: int) -> bool:
    """ "5 foot 2", "my knee doctor"."""
    before, after = index - 1, index + 1
    if before >= 0 and not parse.units[before].tags.isdisjoint({"digits", "number"}):
        return True
    return after < len(parse.units) and not parse.units[after].tags.isdisjoint(
        {"other.professional", "topic.other"}
    )


def _well(parse: Parse, index: int) -> bool:
    """ "knee fine today"."""
    after = index + 1
    while after < len(parse.units) and "scope.through" in parse.units[after].tags:
        after += 1
    return after < len(parse.units) and "steady.praise" in parse.units[after].tags


def perhaps_a_pain(parse: Parse, safety: Safety, answering: bool = False) -> Safety:
    """Where nothing else was understood, a part of the body is asked about.

    With `answering` it is the answer to "are you hurt?": "my wrist", and "my head" too.
    """
    if safety.of("pain").spans:
        return safety
    for index in parse.places("body"):
        event = Event("pain", "noun", index, index)
        unit = parse.units[index]
        loose = unit.values["body"] in _SPOKEN_OF
        if (loose and not answering) or _not_the_part(parse, index) or _well(parse, index):
            continue
        if scope.denied(parse, event) or scope.others(parse, event, False):
            continue
        if not supposing.supposed(parse, event):
            named = not loose or parse.tokens.words[unit.start] in parse.lexicon.opens
            answer: Answer = "yes" if answering and named else "unsure"
            found = {**safety.found, "pain": Found(answer, (parse.span(index, index),))}
            return replace(safety, found=found)
    return safety


_OF_THE_HOLD = frozenset(
    {
        "digits",
        "number",
        "side",
        "steady.firm",
        "steady.denied",
        "exercise.word",
        "exercise.during",
        "count.hold_words",
        "idiom.fall",
        "idiom.pain",
        "question.word",
        "suppose.if",
        "suppose.any",
        "asks",
        "away.chore",
    }
)


def _caught_in_the_net(parse: Parse, found: dict[str, Found]) -> None:
    """A word of the ground or of coming down that nothing else in its sentence explains."""
    lying = parse.units[0].tags if parse.units else frozenset[str]()
    if "floor.hard" in lying:
        found["emergency"] = found.get("emergency", _NOTHING).stronger("yes", parse.span(0, 0))
    for index in ([0] if "floor.hard" in lying else []) + parse.places("net.fall"):
        event = Event("fall", "noun", index, index)
        around = (parse.units[place].tags for place in sentence(parse, index))
        if any(not tags.isdisjoint(_OF_THE_HOLD) for tags in around):
            continue
        if (
            scope.denied(parse, event)
            or scope.others(parse, event, True)
            or (supposing.supposed(parse, event))
        ):
            continue
        answer: Answer = "yes" if "floor.hard" in parse.units[index].tags else "unsure"
        found["fall"] = found.get("fall", _NOTHING).stronger(answer, parse.span(index, index))


def _chest(found: dict[str, Found], body: str | None, span: Span) -> None:
    """Pain in the chest is an emergency, however it is put."""
    known = found.get("emergency", _NOTHING)
    if body == "chest" and known.answer != "yes":
        found["emergency"] = known.stronger("yes", span)


def place_of_pain(parse: Parse, safety: Safety) -> Safety:
    """Where it hurts, by the first part of the body named in an answer: "yes, my knee"."""
    named = parse.places("body")
    if safety.body_part is not None or not named:
        return safety
    part, span = parse.units[named[0]].values["body"], parse.span(named[0], named[0])
    found = dict(safety.found)
    if safety.of("pain").answer == "yes":
        _chest(found, part, span)
    return replace(safety, found=found, body_part=part, body_spans=(span,))


def _body(
    parse: Parse, felt: Sequence[Event], struck: Sequence[Event]
) -> tuple[str | None, tuple[Span, ...]]:
    """The first part of the body named beside a pain, in the same sentence, or else struck."""
    for event in (*felt, *struck) if felt else ():
        part = _part_within(parse, event)
        if part is not None:
            return part, (parse.span(event.first, event.last),)
        around = [*sentence(parse, event.first)]
        if not any("body" in parse.units[place].tags for place in around):
            around = [*range(event.last + 1, min(len(parse.units), event.last + 7))]
        best: int | None = None
        for place in around:
            if "body" not in parse.units[place].tags:
                continue
            if best is None or abs(place - event.first) < abs(best - event.first):
                best = place
        if best is not None:
            return parse.units[best].values["body"], (parse.span(best, best),)
    return None, ()


def _part_within(parse: Parse, event: Event) -> str | None:
    """A part of the body named inside the mention itself: "put my back out"."""
    words = parse.tokens.words
    machine = parse.lexicon.phrases
    for start in range(parse.units[event.first].start, parse.units[event.last].end):
        place = machine.start
        at = start
        longest: str | None = None
        while at < parse.units[event.last].end:
            after = machine.step(place, words[at])
            if after is None:
                break
            place = after
            at += 1
            if place.entry is not None and "body" in place.entry.tags:
                longest = place.entry.values["body"]
        if longest is not None:
            return longest
    return None
