"""docs/texts.md, written from the texts themselves: `python -m rungwise.wording.page_of_texts`."""

import sys
from collections.abc import Iterator, Mapping
from datetime import date, time
from typing import Any

from rungwise.concepts.alert_kinds import ALERT_KINDS
from rungwise.ladder.day import SideHold
from rungwise.ladder.stance import Side
from rungwise.wording.catalogue import GROUPS, TextSpec
from rungwise.wording.dates import date_words, hour_words
from rungwise.wording.results import understood
from rungwise.wording.safety import FALLBACK_NUMBER, emergency_countries, required_parts
from rungwise.wording.segments import segments
from rungwise.wording.texts import (
    LANGUAGES,
    alert_words,
    days_words,
    render,
    weekday_name,
    word,
)

_INTRODUCTION = """\
# Every text the service sends

This page is written by `python -m rungwise.wording.page_of_texts > docs/texts.md` from the texts
themselves; a test fails when it is out of date.

- A text is a template: `{number}` and its like are filled in when it is sent. Below they show an
  invented client, practice and trainer.
- Every text is written to leave in GSM-7 (3GPP TS 23.038), so that 160 septets make one segment.
  Curly quotes, dashes and the accents that GSM-7 lacks are replaced on the way out; a name in
  another script is kept, and the text then takes UCS-2 (70 units a segment). Each text keeps to
  its segments with a practice name of 30 letters and a client's or trainer's name of 20.
- `rungwise segments TEXT` counts any text.
- A practice may word any text its own way. A safety text is refused when it loses one of the
  parts listed with it, cheers, could send someone hurt on, or promises that a person reads at
  once. That check looks at words, not sense. **The wording here has been checked by those rules
  and read by its authors, not by a clinician: the practice's own clinician must read the safety
  texts before the first client gets one.**
- No text says that anyone watches the phone: the client is told to call, and that the trainer is
  being told.
"""

_VALUES: Mapping[str, str] = {
    "called": "Ada",
    "practice": "Hillside Balance",
    "trainer": "Robin",
    "number": "911",
    "crisis": "988",
    "target_s": "20",
    "seconds": "20",
    "steady": "6",
    "score": "4",
    "link": "https://example.org/p/7Hq2",
    "carrier": "kannel",
    "minutes": "5",
    "count": "3",
    "code": "47",
    "phone": "+12025550103",
    "who": "Robin",
}
_TASKS: Mapping[str, str] = {
    "en": "Right heel beside left big toe, touching. Hands just above the counter. "
    "20 seconds, then swap feet.",
    "es": "Talon derecho toca el dedo gordo izquierdo. Manos casi en el apoyo. "
    "20 segundos y cambie.",
}

_SAMPLES: Mapping[str, Mapping[str, str]] = {
    "en": {"place": "left knee", "landmark": "heel to toe"},
    "es": {"place": "rodilla izquierda", "landmark": "los pies en fila"},
}


def listing() -> str:
    """The whole page, in Markdown."""
    return "\n".join(_lines()).rstrip() + "\n"


def _lines() -> Iterator[str]:
    yield _INTRODUCTION
    for title, group in GROUPS.items():
        yield f"## {title}\n"
        for name, spec in group.items():
            yield from _one_text(name, spec)
        if title == "Answers to a result":
            yield from _answers()
    yield from _alert_words()
    yield from _emergency_numbers()


def _one_text(name: str, spec: TextSpec) -> Iterator[str]:
    yield f"### `{name}`\n"
    values = ", ".join(f"`{{{value}}}`" for value in spec.values) or "none"
    most = "" if spec.segments == 1 else f" May take {spec.segments} segments."
    yield f"Sent {spec.when}. Values: {values}.{most}\n"
    if parts := required_parts(name):
        yield f"A wording must: {'; '.join(parts)}.\n"
    for language in LANGUAGES:
        yield from _quoted(language, render(name, language, **sample_values(name, language)))


def sample_values(name: str, language: str) -> dict[str, Any]:
    """A value for every place in a text, of an invented client, practice and trainer."""
    sample = dict(_VALUES)
    sample["task"] = _TASKS[language]
    sample["days"] = days_words(4, language)
    sample["kind"] = alert_words("fall", language)
    sample |= _SAMPLES[language]
    sample["side"] = word("right", language)
    sample["where"] = word("in_front", language)
    sample["understood"] = understood(language, (SideHold(20),), None)
    sample["steady_days"] = word("steady_days", language).format(count=2)
    sample["next"] = word("next_steady", language).format(steady_days=sample["steady_days"])
    sample["day"] = weekday_name(0, language)
    sample["date"] = sample["until"] = date_words(date(2026, 12, 15), language)
    sample["from"] = date_words(date(2026, 12, 8), language)
    sample["hour"] = hour_words(time(9), language)
    sample |= {"first": word("right", language), "second": word("left", language)}
    sample["hint"] = render("hint_sided", language, None, **sample) if name == "prompt" else ""
    sample["caution"] = render("caution_short", language) if name == "prompt" else ""
    return sample


def _answers() -> Iterator[str]:
    yield "### Composed\n"
    yield (
        "What was understood comes first, then one of the sentences above. A correction or an "
        "earlier day is said in front.\n"
    )
    holds = (SideHold(20, Side.RIGHT), SideHold(14, Side.LEFT))
    for language in LANGUAGES:
        told = understood(language, holds, "wobbly", {}, (Side.RIGHT, Side.LEFT))
        follows = render("back_a", language)
        yield from _quoted(language, f"{told} {follows}", "back")
        corrected = f"{word('put_right', language)} {told} {follows}"
        yield from _quoted(language, corrected, "corrected")


def _alert_words() -> Iterator[str]:
    yield "## The words for an alert, after the client's name\n"
    yield "| kind | " + " | ".join(LANGUAGES.values()) + " |"
    yield "|---" * (1 + len(LANGUAGES)) + "|"
    for kind in ALERT_KINDS:
        words = " | ".join(alert_words(kind, language) for language in LANGUAGES)
        yield f"| `{kind}` | {words} |"
    yield ""


def _emergency_numbers() -> Iterator[str]:
    yield "## Emergency numbers\n"
    yield (
        "By country, from memory: a practice confirms its own before going live and can set "
        f"another. A country that is not listed gives {FALLBACK_NUMBER}.\n"
    )
    numbers = emergency_countries()
    for number in sorted(set(numbers.values())):
        countries = ", ".join(country for country, its in numbers.items() if its == number)
        yield f"- {number}: {countries}"


def _quoted(language: str, text: str, label: str = "") -> Iterator[str]:
    counted = segments(text)
    size = f"{counted.units} septets" if counted.encoding == "GSM-7" else f"{counted.units} units"
    if counted.count > 1:
        size += f", {counted.count} segments"
    yield f"- {LANGUAGES[language]}{', ' if label else ''}{label} ({size}):"
    yield f"  > {text}\n"


if __name__ == "__main__":
    sys.stdout.write(listing())
