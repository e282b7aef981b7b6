"""read(text, context): the whole reply reader, in the order in which it is read.

1. Plain text, tokens, phrases (units).   2. Safety, whatever else the text says.
3. Numbers, holds, sides.   4. Steadiness.   5. Kind, and the answer to what was asked.
"""

from collections.abc import Mapping
from typing import Literal

from service.ladder.stance import Answer
from service.reply import kinds
from service.reply.holds import Holds, read_holds
from service.reply.lexicon import lexicon
from service.reply.reading import Context, Kind, Reading, Span
from service.reply.safety import Found, Safety, read_safety
from service.reply.steadiness import Steady, read_steadiness
from service.reply.units import Parse, parse


def read(text: str, context: Context | None = None) -> Reading:
    """What a reply says. Any text gives a Reading; nothing raises."""
    context = context or Context()
    words = lexicon(context.language)
    parsed = parse(text, words)
    start = kinds.opening(parsed, words)
    safety = read_safety(parsed)
    answer = kinds.answer(start, context, settled=True)
    safety = _answered(parsed, start, answer, context, safety)
    if context.asked == "pain_score":
        return _pain_score(parsed, safety, answer)
    holds = read_holds(parsed, context)
    steady = read_steadiness(parsed, holds.side_of, bool(holds.holds), safety.reported)
    return _assemble(parsed, context, start, safety, holds, steady, answer)


_ASKED_FIELD = {
    "fall_yes_no": "fall",
    "pain_yes_no": "pain",
    "dizzy_yes_no": "dizzy",
    "hurt": "pain",
}


def _answered(
    parsed: Parse, start: kinds.Opening, answer: str | None, context: Context, safety: Safety
) -> Safety:
    """A bare yes to "did you fall?" is a fall."""
    field = _ASKED_FIELD.get(context.asked)
    if field is None or answer != "yes":
        return safety
    tokens = parsed.tokens
    span = parsed.plain.span(tokens.starts[start.start], tokens.ends[start.end - 1])
    found = {name: getattr(safety, name) for name in ("fall", "pain", "dizzy", "emergency")}
    found[field] = found[field].stronger("yes", span)
    return Safety(body_part=safety.body_part, body_spans=safety.body_spans, **found)


def _pain_score(parsed: Parse, safety: Safety, answer: str | None) -> Reading:
    from service.reply.numbers import raw_numbers

    scores = [q for q in raw_numbers(parsed) if 0 <= q.value <= 10 and q.value == int(q.value)]
    score = int(scores[0].value) if scores else (0 if answer == "no" else None)
    pain: Answer = safety.pain.answer
    if score:
        pain = "yes"
    because = _because(safety)
    if scores:
        because["pain_score"] = (parsed.span(scores[0].first, scores[0].last),)
    if score and "pain" not in because:
        because["pain"] = because["pain_score"]
    body, spans = safety.body_part, safety.body_spans
    if body is None:
        named = kinds.tagged(parsed, "body")
        if named:
            body, spans = parsed.units[named[0]].value, (parsed.span(named[0], named[0]),)
            because["body_part"] = spans
    reported = pain != "no" or safety.reported
    return Reading(
        kind="safety_only" if reported else "other",
        fall=safety.fall.answer,
        pain=pain,
        dizzy=safety.dizzy.answer,
        emergency=safety.emergency.answer == "yes",
        body_part=body,
        confidence=1.0 if score is not None else 0.3,
        because=because,
        yes_no=_yes_no(answer),
        pain_score=score,
    )


def _yes_no(answer: str | None) -> Literal["yes", "no"] | None:
    return "yes" if answer == "yes" else "no" if answer == "no" else None


def _because(safety: Safety) -> dict[str, tuple[Span, ...]]:
    because: dict[str, tuple[Span, ...]] = {}
    fields: Mapping[str, Found] = {
        "fall": safety.fall,
        "pain": safety.pain,
        "dizzy": safety.dizzy,
        "emergency": safety.emergency,
    }
    for name, found in fields.items():
        if found.spans:
            because[name] = found.spans
    if safety.body_spans:
        because["body_part"] = safety.body_spans
    return because


def _assemble(
    parsed: Parse,
    context: Context,
    start: kinds.Opening,
    safety: Safety,
    holds: Holds,
    steady: Steady,
    answer: str | None,
) -> Reading:
    same = bool(kinds.tagged(parsed, "same.phrase")) and not holds.holds
    kind, behind = _kind(parsed, context, start, safety, holds, steady, same)
    if kind not in ("result", "safety_only"):
        steady = Steady()
    because = _because(safety)
    if holds.spans:
        because["holds"] = holds.spans
    if steady.spans:
        because["steadiness"] = steady.spans
    if behind:
        because["kind"] = behind
    effort: Literal["too_hard", "too_easy"] | None = None
    if kinds.tagged(parsed, "effort.too_hard"):
        effort = "too_hard"
    elif kinds.tagged(parsed, "effort.too_easy"):
        effort = "too_easy"
    return Reading(
        kind=kind,
        holds=holds.holds,
        steadiness=steady.overall,
        steadiness_by_side=steady.by_side,
        fall=safety.fall.answer,
        pain=safety.pain.answer,
        dizzy=safety.dizzy.answer,
        emergency=safety.emergency.answer == "yes",
        body_part=safety.body_part,
        confidence=_confidence(parsed, kind, safety),
        because=because,
        yes_no=_yes_no(answer),
        correction=bool(holds.holds) and bool(kinds.tagged(parsed, "fix.phrase")),
        same_as_before=same,
        effort=effort,
        question=bool(kinds.tagged(parsed, "asks")) or kind == "question",
        later=bool(kinds.tagged(parsed, "later.phrase")),
        to_target=bool(kinds.tagged(parsed, "done.full")),
    )


def _kind(
    parsed: Parse,
    context: Context,
    start: kinds.Opening,
    safety: Safety,
    holds: Holds,
    steady: Steady,
    same: bool,
) -> tuple[Kind, tuple[Span, ...]]:
    tokens = parsed.tokens
    if start.whole:
        keyword = {"keyword.opt_out": "opt_out", "keyword.opt_in": "opt_in", "keyword.help": "help"}
        for tag, kind in keyword.items():
            if tag in start.tags:
                span = parsed.plain.span(tokens.starts[start.start], tokens.ends[start.end - 1])
                return kind, (span,)  # type: ignore[return-value]
    for tag, kind in (("opt_out.plain", "opt_out"), ("opt_in.plain", "opt_in")):
        places = kinds.tagged(parsed, tag)
        if places:
            return kind, tuple(parsed.span(p, p) for p in places)  # type: ignore[return-value]
    if holds.holds:
        return "result", ()
    skips = kinds.tagged(parsed, "skip.phrase")
    if safety.reported:
        return ("result", ()) if steady.overall else ("safety_only", ())
    if skips:
        return "skipped", tuple(parsed.span(p, p) for p in skips)
    if kinds.tagged(parsed, "help.plain"):
        return "help", ()
    asks = kinds.tagged(parsed, "asks")
    if asks or (kinds.tagged(parsed, "question.word")[:1] == [0]):
        return "question", ()
    if steady.overall or same or kinds.tagged(parsed, "done.phrase"):
        return "result", ()
    return "other", ()


def _confidence(parsed: Parse, kind: Kind, safety: Safety) -> float:
    confidence = 0.3 if kind == "other" else 1.0
    confidence *= 0.9 ** min(parsed.typos, 5)
    if any(f.answer == "unsure" for f in (safety.fall, safety.pain, safety.dizzy)):
        confidence *= 0.6
    share = parsed.unknown / max(1, len(parsed.units))
    return round(confidence * (1 - 0.5 * share), 3)
