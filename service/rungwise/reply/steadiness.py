"""Steady or wobbly: the worst told, and by side where the client said which."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from rungwise.ladder.stance import Steadiness
from rungwise.reply import scope, supposing
from rungwise.reply.events import Event
from rungwise.reply.numbers import has_tag, word_at
from rungwise.reply.reading import Span
from rungwise.reply.safety import Safety
from rungwise.reply.sides import STEADINESS, Holds
from rungwise.reply.units import Parse, clause, sentence


@dataclass(frozen=True, slots=True)
class Steady:
    """The worst told, by side where told, the words behind it; `praise` if nothing firmer."""

    overall: Steadiness | None = None
    by_side: Mapping[str, Steadiness] = field(default_factory=dict)
    spans: tuple[Span, ...] = ()
    praise: bool = False


_SILENT = Steady()
WOBBLES = frozenset({"wobbly.word", "wobbly.touch", "wobbly.balance", "wobbly.poor"})


def read_steadiness(
    parse: Parse,
    holds: Holds,
    safety: Safety,
    comfort: bool,
    chosen: frozenset[int] = frozenset(),
) -> Steady:
    """`comfort`: bare praise is about the client ("I'm fine" after a fall), not about a hold.

    `chosen` are units that tell of holding on by choice or as asked: no wobble.
    """
    came_down = _fell_in_it(parse, holds, safety)
    if parse.seen.isdisjoint(STEADINESS) and came_down is None:
        return _SILENT
    sides = dict(holds.word_sides)
    held = bool(holds.holds)
    told: list[tuple[int, Steadiness]] = []
    praise = True
    for index, unit in enumerate(parse.units):
        if unit.tags.isdisjoint(STEADINESS):
            if told and "neg.strong" in unit.tags and _bare_not(parse, index):
                told.append((index, "wobbly"))
            continue
        if _of_the_number(parse, index):
            continue
        if index in chosen and not unit.tags.isdisjoint(WOBBLES):
            continue
        said = _said(parse, index, unit.tags, held, safety, comfort)
        if said is not None:
            told.append((index, said))
            praise = praise and "steady.praise" in unit.tags
    if came_down is not None:
        told.append((came_down, "wobbly"))
        praise = False
    told = _after_a_correction(parse, holds, told)
    if not told:
        return _SILENT
    by_side: dict[str, Steadiness] = {}
    for index, said in told:
        side = sides.get(index)
        for one in ("left", "right") if side == "both" else (side,):
            if one is not None and by_side.get(one) != "wobbly":
                by_side[one] = said
    overall: Steadiness = "wobbly" if any(said == "wobbly" for _, said in told) else "steady"
    spans = tuple(parse.span(i, i) for i, said in told if said == overall)
    return Steady(overall, by_side, spans, praise)


def _of_the_number(parse: Parse, index: int) -> bool:
    """Whether the word only goes with the number beside it: "9 tops", "held on 20"."""
    if has_tag(parse, index, "count.about") and has_tag(parse, index - 1, *_SECONDS):
        return True
    return has_tag(parse, index, "wobbly.lasted") and has_tag(parse, index + 1, *_SECONDS[:2])


def _after_a_correction(
    parse: Parse, holds: Holds, told: list[tuple[int, Steadiness]]
) -> list[tuple[int, Steadiness]]:
    """What is told after a correction: "15 wobbly, sorry 25 steady", "20 wobbly, meant steady"."""
    last = max((index for index, _ in told), default=0)
    if any(_put_right(parse, place) for place in range(last - 2, last)):
        return [one for one in told if one[0] == last]
    fixed = parse.places("join.swap") + parse.places("fix.phrase")
    if not fixed or not holds.places or any(first < max(fixed) for first, _ in holds.places):
        return told
    return [one for one in told if one[0] > max(fixed)] or told


def _put_right(parse: Parse, place: int) -> bool:
    """Whether only a comma can stand between a correction at `place` and the word put right."""
    if not has_tag(parse, place, "fix.phrase") and word_at(parse, place) != "*":
        return False
    return has_tag(parse, place + 1, "comma", *STEADINESS)


_SECONDS = ("digits", "number", "unit.seconds")
_NEXT = frozenset({"comma", "join.and", "scope.but", "self.i", "scope.through", "near.before"})


def _elsewhere(parse: Parse, place: int) -> bool:
    """Whether the unit tells of another place or time than the hold's."""
    if has_tag(parse, place, "old.recent", "old.long"):
        return True
    return has_tag(parse, place, "away.place") and not has_tag(parse, place, "floor.wide")


def _during(parse: Parse, place: int) -> bool:
    """ "doing the exercise", but not before or after it."""
    return has_tag(parse, place, "exercise.during") and not has_tag(
        parse, place - 1, "scope.but", "neg.strong", "neg.no"
    )


def _fell_in_it(parse: Parse, holds: Holds, safety: Safety) -> int | None:
    """The fall that ended the hold, if one did: "10 secs then I fell back", "fell at 9"."""
    for fall in safety.falls:
        around = sentence(parse, fall)
        if any(_elsewhere(parse, place) for place in around):
            continue
        if holds.places and any(_during(parse, place) for place in around):
            return fall  # "toppled over doing the exercise, got to 7"
        for first, last in holds.places:
            between = range(last + 1, fall)
            then = len(between) <= 4 and any(
                has_tag(parse, p, "join.and", "scope.but") for p in between
            )
            if any(has_tag(parse, p, "skip.later") for p in between):
                continue  # "20 pero luego me caí": some time after the hold
            if then and all(has_tag(parse, p, *_NEXT) for p in between):
                return fall
            at = next((p for p in range(first - 1, fall, -1) if p in around), None)
            if at is not None and first - fall <= 5 and has_tag(parse, at, "count.clock"):
                return fall
    return None


def _said(
    parse: Parse, index: int, tags: frozenset[str], held: bool, safety: Safety, comfort: bool
) -> Steadiness | None:
    """What one word says of the hold, None for nothing."""
    if not tags.isdisjoint(WOBBLES):
        return _wobble(parse, index, tags, held, safety)
    event = Event("steady", "noun", index, index)
    if "steady.praise" in tags and not tags.intersection({"steady.firm", "steady.denied"}):
        if (comfort and not held) or not _of_the_hold(parse, index, held):
            return None
        if "fall.doubt" not in tags and _comforts(parse, index, held, safety):
            return None
    of_a_fall = not held and any(place in safety.falls for place in sentence(parse, index))
    if "steady.denied" in tags and not of_a_fall:
        return "steady"
    # "slipped on the leaves but stayed upright" says nothing of the hold.
    if of_a_fall or scope.others(parse, event, things=False) == "no" or _hoped(parse, index):
        return None
    back = (index - 1,) if has_tag(parse, index - 1, "neg.strong") else (index - 1, index - 2)
    near = any(has_tag(parse, p, "comma", "pain.noun", "fall.noun") for p in back)
    return "wobbly" if not near and scope.denied(parse, event) else "steady"


def _wobble(
    parse: Parse, index: int, tags: frozenset[str], held: bool, safety: Safety
) -> Steadiness | None:
    if safety.elsewhere and any(p in safety.elsewhere for p in sentence(parse, index)):
        return None
    if "wobbly.poor" in tags and safety.reported and not held:
        return None
    event = Event("wobble", "word", index, index)
    unit = parse.units[index]
    denied = scope.denied(parse, event, after=unit.end - unit.start == 1)
    if denied == "no" and _twice_denied(parse, index):
        denied = None
    if denied is None:
        if scope.others(parse, event, things="fall.stance" in tags) == "no" or _hoped(parse, index):
            return None
        if not held or not tags.isdisjoint({"wobbly.touch", "wobbly.balance"}):
            around = sentence(parse, index)
            of_it = held and (
                not any(_elsewhere(parse, place) for place in around)
                or any(has_tag(parse, p, *_SECONDS) for p in clause(parse, index))
            )
            if not of_it and any(place in safety.falls for place in around):
                return None
    return "steady" if denied == "no" else "wobbly"


def _twice_denied(parse: Parse, index: int) -> bool:
    """ "couldn't do it without clutching the rail"."""
    first = max(clause(parse, index).start, index - scope.BACK)
    return sum(has_tag(parse, place, "neg.strong") for place in range(first, index)) > 1


def _bare_not(parse: Parse, index: int) -> bool:
    """Whether a last "not" takes steady back for a side: "left 20 steady, right 20 not"."""
    after = index + 1 >= len(parse.units) or has_tag(parse, index + 1, "stop", "comma")
    return after and has_tag(parse, index - 1, "side", *_SECONDS)


def _hoped(parse: Parse, index: int) -> bool:
    """Whether it is only wished for, feared or asked about: "will I be steadier?"."""
    return has_tag(parse, index - 1, "suppose.any") or supposing.asked(
        parse, Event("steady", "noun", index, index)
    )


def _after_harm(safety: Safety, index: int) -> bool:
    """Whether a fall was told, or any harm before the praise: "knee hurt but fine"."""
    serious = safety.of("fall").answer != "no" or safety.of("emergency").answer != "no"
    return serious or any(place < index for place in safety.told)


def _comforts(parse: Parse, index: int, held: bool, safety: Safety) -> bool:
    """Whether praise only says that one is well after a fall or pain: "went over but ok"."""
    if not safety.found:
        return False
    if _of_oneself(parse, index) or (not held and _after_harm(safety, index)):
        return True
    around = sentence(parse, index)
    if any(has_tag(parse, place, *_SECONDS) for place in around):
        return False
    if safety.falls:
        return True
    return any(place in safety.told and place < index for place in around)


def _of_oneself(parse: Parse, index: int) -> bool:
    """ "I'm fine": comfort where a fall or pain was spoken of."""
    place = index - 1
    while has_tag(parse, place, "scope.through") and not has_tag(parse, place, "self.i"):
        place -= 1
    return place >= index - 3 and has_tag(parse, place, "self.i")


# Words of praise that also only open a text: "ok I did it".
_STARTERS = frozenset({"ok", "okay", "k", "right", "vale", "bueno", "bien"})
_BREAKS = frozenset({"stop", "comma", "scope.but", "digits", "side", "number", "mark"})


def _of_the_hold(parse: Parse, index: int, held: bool) -> bool:
    """Whether praise speaks of the hold, not of the weather, a visit, or a new start ("ok so")."""
    units = parse.units
    if (
        index == 0
        and units[0].end == 1
        and units[0].word in _STARTERS
        and not has_tag(parse, 1, "old.recent")
    ):
        only = len(units) == 1 or not any(
            tags & {"unknown", "digits", "number"} for tags in (unit.tags for unit in units)
        )
        if not only:
            return False
    for place in range(index - 1, max(-1, index - 8), -1):
        tags = units[place].tags
        if not tags.isdisjoint(_BREAKS):
            break
        if not tags.isdisjoint(
            {"topic.other", "body", "other.person", "other.pronoun", "idiom.fall", "idiom.pain"}
        ):
            return False
    after = units[index + 1].tags if index + 1 < len(units) else frozenset[str]()
    if held:
        return after.isdisjoint({"topic.other", "body"})
    return after.isdisjoint({"topic.other", "body", "unknown"})
