"""Falls, pain, dizziness and emergency signs, each with the words behind it."""

from collections.abc import Callable
from dataclasses import dataclass

from service.ladder.stance import Answer
from service.reply import scope
from service.reply.reading import Span
from service.reply.units import Parse

_RANK = {"no": 0, "unsure": 1, "yes": 2}


@dataclass(frozen=True, slots=True)
class Found:
    """One field's answer and the words behind it; no words when nothing was said about it."""

    answer: Answer = "no"
    spans: tuple[Span, ...] = ()

    def stronger(self, answer: Answer, span: Span) -> "Found":
        if _RANK[answer] > _RANK[self.answer]:
            return Found(answer, (span,))
        if answer == self.answer:
            return Found(answer, (*self.spans, span))
        return self


@dataclass(frozen=True, slots=True)
class Safety:
    fall: Found = Found()
    pain: Found = Found()
    dizzy: Found = Found()
    emergency: Found = Found()
    body_part: str | None = None
    body_spans: tuple[Span, ...] = ()

    @property
    def reported(self) -> bool:
        return any(f.answer != "no" for f in (self.fall, self.pain, self.dizzy, self.emergency))


def weaker(one: Answer, other: Answer) -> Answer:
    return one if _RANK[one] <= _RANK[other] else other


def _said(parse: Parse, index: int, doubtful: bool, fall: bool) -> Answer:
    """What one mention of a symptom comes to, after everything said around it."""
    denied = scope.denied(parse, index)
    if denied == "no":
        return "no"
    others = scope.others(parse, index, fall=fall)
    if others == "no":
        return "no"
    if scope.supposed(parse, index):
        return "no"
    if denied or others or doubtful or scope.long_ago(parse, index) or scope.nearly(parse, index):
        return "unsure"
    return "yes"


def _fall(parse: Parse, index: int, tags: frozenset[str]) -> Answer:
    if "fall.near" in tags:
        return _near_fall(parse, index)
    phrase = "fall.phrase" in tags or "fall.doubt" in tags
    doubtful = "fall.doubt" in tags
    answer = _said(parse, index, doubtful, fall=not phrase or "fall.doubt" in tags)
    if answer == "yes" and phrase and scope.caught(parse, index):
        return "unsure"
    return answer


def _near_fall(parse: Parse, index: int) -> Answer:
    if scope.denied(parse, index) == "no" or scope.others(parse, index, fall=True) == "no":
        return "no"
    return "unsure"


def _pain(parse: Parse, index: int, tags: frozenset[str]) -> Answer:
    if "pain.none" in tags:
        return "no"
    return _said(parse, index, "pain.doubt" in tags, fall=False)


def _dizzy(parse: Parse, index: int, tags: frozenset[str]) -> Answer:
    return _said(parse, index, "dizzy.doubt" in tags, fall=False)


def _emergency(parse: Parse, index: int, _: frozenset[str]) -> Answer:
    answer = _said(parse, index, False, fall=False)
    return "yes" if answer == "unsure" and not scope.long_ago(parse, index) else answer


_READERS: dict[str, Callable[[Parse, int, frozenset[str]], Answer]] = {
    "fall": _fall,
    "pain": _pain,
    "dizzy": _dizzy,
    "emergency": _emergency,
}


def read_safety(parse: Parse) -> Safety:
    """Every mention counts; the strongest answer of each field wins."""
    found: dict[str, Found] = {}
    pains: list[int] = []
    for index, unit in enumerate(parse.units):
        if not unit.tags:
            continue
        families = {tag.partition(".")[0] for tag in unit.tags}.intersection(_READERS)
        for family in families:
            answer = _READERS[family](parse, index, unit.tags)
            found[family] = found.get(family, Found()).stronger(answer, parse.span(index, index))
            if family == "pain" and answer != "no":
                pains.append(index)
        if unit.tags == {"near.caught"} or "near.caught" in unit.tags:
            found = _caught_after_nearly(parse, index, found)
    body, spans = _body(parse, pains)
    if "emergency" in found and found["emergency"].answer == "unsure":
        found["emergency"] = Found("yes", found["emergency"].spans)
    return Safety(body_part=body, body_spans=spans, **found)


def _caught_after_nearly(parse: Parse, index: int, found: dict[str, Found]) -> dict[str, Found]:
    if parse.units[index].word in ("but",):
        span = parse.span(index, index)
        return {**found, "fall": found.get("fall", Found()).stronger("unsure", span)}
    return found


def _body(parse: Parse, pains: list[int]) -> tuple[str | None, tuple[Span, ...]]:
    """The body part named nearest to a pain, in the same sentence."""
    best: tuple[int, int] | None = None
    for pain in pains:
        if "body" in parse.units[pain].tags:
            return parse.units[pain].value, (parse.span(pain, pain),)
        for place in range(max(0, pain - 8), min(len(parse.units), pain + 9)):
            if "body" in parse.units[place].tags:
                distance = abs(place - pain)
                if best is None or distance < best[0]:
                    best = (distance, place)
    if best is None:
        return None, ()
    return parse.units[best[1]].value, (parse.span(best[1], best[1]),)
