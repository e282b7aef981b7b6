"""A reading as plain JSON values and as words for a person, and a context from JSON."""

from collections.abc import Mapping, Sequence
from dataclasses import fields
from datetime import date
from typing import Any, get_args

from rungwise.errors import ImpossibleValue
from rungwise.ladder.stance import Side
from rungwise.reply.lexicon import LANGUAGES, tables
from rungwise.reply.reading import Asked, Context, Reading, Support

_ASKED = get_args(Asked)
_SUPPORTS = get_args(Support)
_READ = [field.name for field in fields(Reading)]
# Shown as they are, in the order of Reading.
_NEWER = _READ[_READ.index("asks") :]
_FIELDS = tuple(field.name for field in fields(Context))


def context_from(values: Mapping[str, Any]) -> Context:
    """A Context from JSON values; every field may be missing. Raises ImpossibleValue."""
    unknown = sorted(set(values) - set(_FIELDS))
    if unknown:
        raise ImpossibleValue("context", ", ".join(unknown), "only " + ", ".join(_FIELDS))
    target_s = values.get("target_s", 20)
    if isinstance(target_s, bool) or not isinstance(target_s, int | float) or target_s <= 0:
        raise ImpossibleValue("context.target_s", target_s, "a number of seconds above 0")
    sided = _truth("context.sided", values.get("sided", False))
    leads = values.get("leads", [])
    if not isinstance(leads, list) or any(lead not in ("left", "right") for lead in leads):
        raise ImpossibleValue("context.leads", leads, 'a list of "left" and "right"')
    asked = _one_of(_ASKED, "context.asked", values.get("asked", "result"))
    language = _one_of(LANGUAGES, "context.language", values.get("language", "en"))
    support = values.get("support")
    if support is not None:
        support = _one_of(_SUPPORTS, "context.support", support)
    return Context(
        target_s=int(target_s),
        sided=sided,
        leads=tuple(Side(lead) for lead in leads),
        asked=asked,
        language=language,
        support=support,
        our_texts=_our_texts(values.get("our_texts", [])),
        usual_pain=_body_part(values.get("usual_pain")),
        today=_day(values.get("today")),
        second_reader=_truth("context.second_reader", values.get("second_reader", True)),
    )


def _truth(name: str, value: Any) -> bool:
    if not isinstance(value, bool):
        raise ImpossibleValue(name, value, "true or false")
    return value


def _one_of(known: Sequence[str], name: str, value: Any) -> Any:
    if value not in known:
        raise ImpossibleValue(name, value, "one of " + ", ".join(known))
    return value


def _our_texts(value: Any) -> tuple[str, ...]:
    if not isinstance(value, list) or not all(isinstance(text, str) for text in value):
        raise ImpossibleValue("context.our_texts", value, "a list of texts")
    return tuple(value)


def _body_part(value: Any) -> str | None:
    if value is None:
        return None
    part: str = _one_of(sorted(tables("en")["body"]), "context.usual_pain", value)
    return part


def _day(value: Any) -> date | None:
    if value is None:
        return None
    try:
        return date.fromisoformat(value)
    except (TypeError, ValueError):
        raise ImpossibleValue("context.today", value, "a date like 2026-01-05") from None


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
        **{name: _plain(getattr(reading, name)) for name in _NEWER},
    }


def _plain(value: Any) -> Any:
    return list(value) if isinstance(value, tuple) else value


def _in_words(value: Any) -> Any:
    if isinstance(value, bool):
        return "yes" if value else ""
    return ", ".join(value) if isinstance(value, tuple) else value


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
        *((name, _in_words(getattr(reading, name))) for name in _NEWER if name != "own_words"),
        ("own_words", reading.own_words if reading.machine else ""),
    ]
    for name, value in told:
        if value in (None, ""):
            continue
        words = ", ".join(f"“{text[s.start : s.end]}”" for s in reading.because.get(name, ()))
        lines.append(f"  {name}: {value}" + (f", from {words}" if words else ""))
    return "\n".join(lines)
