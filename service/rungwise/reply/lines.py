"""A reading as plain JSON values and as words for a person, and a context from JSON."""

from collections.abc import Mapping
from typing import Any, get_args

from rungwise.errors import ImpossibleValue
from rungwise.ladder.stance import Side
from rungwise.reply.lexicon import LANGUAGES
from rungwise.reply.reading import Asked, Context, Reading

_ASKED = get_args(Asked)


def context_from(values: Mapping[str, Any]) -> Context:
    """A Context from JSON values; every field may be missing. Raises ImpossibleValue."""
    target_s = values.get("target_s", 20)
    if isinstance(target_s, bool) or not isinstance(target_s, int | float) or target_s <= 0:
        raise ImpossibleValue("context.target_s", target_s, "a number of seconds above 0")
    sided = values.get("sided", False)
    if not isinstance(sided, bool):
        raise ImpossibleValue("context.sided", sided, "true or false")
    leads = values.get("leads", [])
    if not isinstance(leads, list) or any(lead not in ("left", "right") for lead in leads):
        raise ImpossibleValue("context.leads", leads, 'a list of "left" and "right"')
    asked = values.get("asked", "result")
    if asked not in _ASKED:
        raise ImpossibleValue("context.asked", asked, "one of " + ", ".join(_ASKED))
    language = values.get("language", "en")
    if language not in LANGUAGES:
        raise ImpossibleValue("context.language", language, "one of " + ", ".join(LANGUAGES))
    return Context(
        target_s=int(target_s),
        sided=sided,
        leads=tuple(Side(lead) for lead in leads),
        asked=asked,
        language=language,
    )


def _number(seconds: float) -> int | float:
    return int(seconds) if seconds == int(seconds) else seconds


def as_json(text: str, reading: Reading) -> dict[str, Any]:
    """Every field of a reading; `because` gives each field's spans with their text."""
    return {
        "kind": reading.kind,
        "holds": [{"seconds": _number(h.seconds), "side": h.side} for h in reading.holds],
        "steadiness": reading.steadiness,
        "steadiness_by_side": dict(reading.steadiness_by_side),
        "fall": reading.fall,
        "pain": reading.pain,
        "dizzy": reading.dizzy,
        "emergency": reading.emergency,
        "body_part": reading.body_part,
        "confidence": reading.confidence,
        "because": {
            name: [{"start": s.start, "end": s.end, "text": text[s.start : s.end]} for s in spans]
            for name, spans in reading.because.items()
        },
        "yes_no": reading.yes_no,
        "pain_score": reading.pain_score,
        "correction": reading.correction,
        "same_as_before": reading.same_as_before,
        "effort": reading.effort,
        "question": reading.question,
        "later": reading.later,
        "to_target": reading.to_target,
        "about_task": reading.about_task,
    }


def explained(text: str, reading: Reading) -> str:
    """A reading in words, one field a line, with the client's words behind each."""
    lines = [f"“{text}”", f"  kind: {reading.kind} (confidence {reading.confidence:g})"]
    holds = ", ".join(
        f"{_number(h.seconds)} s" + (f" {h.side}" if h.side else "") for h in reading.holds
    )
    by_side = reading.steadiness_by_side.items()
    told: list[tuple[str, object]] = [
        ("holds", holds),
        ("steadiness", reading.steadiness),
        ("steadiness_by_side", ", ".join(f"{s} {w}" for s, w in by_side)),
        ("fall", reading.fall if reading.fall != "no" or "fall" in reading.because else ""),
        ("pain", reading.pain if reading.pain != "no" or "pain" in reading.because else ""),
        ("dizzy", reading.dizzy if reading.dizzy != "no" or "dizzy" in reading.because else ""),
        ("emergency", "yes" if reading.emergency else ""),
        ("body_part", reading.body_part),
        ("yes_no", reading.yes_no),
        ("pain_score", reading.pain_score),
        ("correction", "yes" if reading.correction else ""),
        ("same_as_before", "yes" if reading.same_as_before else ""),
        ("effort", reading.effort),
        ("question", "yes" if reading.question else ""),
        ("later", "yes" if reading.later else ""),
        ("to_target", "yes" if reading.to_target else ""),
        ("about_task", "yes" if reading.about_task else ""),
    ]
    for name, value in told:
        if value in (None, ""):
            continue
        words = ", ".join(f"“{text[s.start : s.end]}”" for s in reading.because.get(name, ()))
        lines.append(f"  {name}: {value}" + (f", from {words}" if words else ""))
    return "\n".join(lines)
