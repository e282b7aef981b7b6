"""The tests and a scale as one family: names, what each needs, and how stored values score."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from rungwise.errors import ImpossibleValue
from rungwise.evidence.change import Scored
from rungwise.evidence.fear import FORMS, fear
from rungwise.evidence.four_stage import STAGES, four_stage
from rungwise.evidence.one_leg import MOST_TRIES, one_leg
from rungwise.evidence.sppb import STANDS, sppb
from rungwise.evidence.stands import chair_stand_30s, five_stands
from rungwise.evidence.tug import tug


@dataclass(frozen=True, slots=True)
class Entry:
    """One box of the form: `name` in the form, `label` beside it, `choices` if it is a choice.

    `kind`: "time" in seconds, "count", "choice" or "tick". An empty time is a stage not tried, a
    try not made, or a task that could not be done, as `hint` says.
    """

    name: str
    label: str
    kind: str = "time"
    hint: str = ""
    choices: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Kind:
    """One test: its name, its form, and how the form's values are stored and scored."""

    name: str
    title: str
    entries: tuple[Entry, ...]
    gather: Callable[[Mapping[str, Any]], dict[str, Any]]
    score: Callable[[Mapping[str, Any]], Scored]


def _stages(names: tuple[str, ...], prefix: str) -> tuple[Entry, ...]:
    return tuple(
        Entry(f"{prefix}_{place}", name.capitalize(), hint="" if place == 1 else "empty: not tried")
        for place, name in enumerate(names, start=1)
    )


def _given(form: Mapping[str, Any], prefix: str, most: int) -> list[Any]:
    """The times given under `prefix`_1 on, in order; one left out between others is refused."""
    values = [form.get(f"{prefix}_{place}") for place in range(1, most + 1)]
    while values and values[-1] is None:
        values.pop()
    if None in values:
        place = values.index(None) + 1
        raise ImpossibleValue(f"{prefix} {place}".replace("_", " "), None, "filled in")
    return values


def _tries(leg: str) -> tuple[Entry, ...]:
    return tuple(
        Entry(f"{leg}_{place}", f"{leg.capitalize()} leg, try {place}", hint="empty: not made")
        for place in range(1, MOST_TRIES + 1)
    )


_AIDS = (("none", "no aid"), ("stick", "a stick"), ("frame", "a frame"))
_COURSES = (("4", "4 metres"), ("3", "3 metres"))

_FORMS = tuple((code, f"{name}, {low} to {high}") for code, (name, low, high, _) in FORMS.items())

KINDS: Mapping[str, Kind] = {
    kind.name: kind
    for kind in (
        Kind(
            "four_stage",
            "Four-stage balance test",
            _stages(STAGES, "stage"),
            lambda form: {"held_s": _given(form, "stage", len(STAGES))},
            lambda values: four_stage(values["held_s"]),
        ),
        Kind(
            "one_leg",
            "One-leg stance, eyes open",
            (*_tries("left"), *_tries("right")),
            lambda form: {
                "left_s": _given(form, "left", MOST_TRIES),
                "right_s": _given(form, "right", MOST_TRIES),
            },
            lambda values: one_leg(values["left_s"], values["right_s"]),
        ),
        Kind(
            "sppb",
            "Short Physical Performance Battery",
            (
                *_stages(STANDS, "stand"),
                Entry("course_m", "Walking course", "choice", choices=_COURSES),
                Entry("walk_1", "First walk", hint="empty: unable"),
                Entry("walk_2", "Second walk", hint="empty: not made"),
                Entry("chair_s", "Five chair stands", hint="empty: unable"),
            ),
            lambda form: {
                "stands_s": _given(form, "stand", len(STANDS)),
                "course_m": form.get("course_m"),
                "walks_s": _given(form, "walk", 2),
                "chair_s": form.get("chair_s"),
            },
            lambda values: sppb(
                values["stands_s"], values["course_m"], values["walks_s"], values["chair_s"]
            ),
        ),
        Kind(
            "chair_stand_30s",
            "30-second chair stand",
            (Entry("stands", "Stands in 30 seconds", "count"), Entry("arms", "Arms used", "tick")),
            lambda form: {"stands": form.get("stands"), "arms_used": bool(form.get("arms"))},
            lambda values: chair_stand_30s(values["stands"], values["arms_used"]),
        ),
        Kind(
            "five_stands",
            "Five times sit to stand",
            (Entry("time_s", "Time for five stands", hint="empty: unable"),),
            lambda form: {"time_s": form.get("time_s")},
            lambda values: five_stands(values["time_s"]),
        ),
        Kind(
            "tug",
            "Timed Up and Go",
            (Entry("time_s", "Time"), Entry("aid", "Walking aid", "choice", choices=_AIDS)),
            lambda form: {"time_s": form.get("time_s"), "aid": form.get("aid")},
            lambda values: tug(values["time_s"], values["aid"]),
        ),
        Kind(
            "fear",
            "Fear of falling, a scale's total",
            (Entry("form", "Form", "choice", choices=_FORMS), Entry("total", "Total", "count")),
            lambda form: {"form": form.get("form"), "total": form.get("total")},
            lambda values: fear(values["total"], values["form"]),
        ),
    )
}


def kind_of(name: str) -> Kind:
    """The test of that name; ImpossibleValue if there is none."""
    if name not in KINDS:
        raise ImpossibleValue("test", name, f"one of {', '.join(KINDS)}")
    return KINDS[name]


def score(name: str, values: Mapping[str, Any]) -> Scored:
    """The result of stored values; ImpossibleValue for what cannot be."""
    return kind_of(name).score(values)


def values_from_form(name: str, form: Mapping[str, str]) -> dict[str, Any]:
    """A form's words as the values to store: numbers, choices, None for boxes left empty.

    A comma is taken as a decimal point. ImpossibleValue for a box that holds no number.
    """
    kind = kind_of(name)
    read = {entry.name: _read(entry, form.get(entry.name, "").strip()) for entry in kind.entries}
    return kind.gather(read)


def _read(entry: Entry, words: str) -> Any:
    if entry.kind == "tick":
        return words != ""
    if words == "":
        return None
    if entry.kind == "choice":
        return int(words) if words.isdecimal() else words
    try:
        return int(words) if entry.kind == "count" else float(words.replace(",", "."))
    except ValueError:
        wanted = "a whole number, such as 8" if entry.kind == "count" else "a number, such as 8.5"
        raise ImpossibleValue(entry.label, words, wanted) from None


def score_to_json(scored: Scored) -> dict[str, Any]:
    """What is stored beside the values: the headline, so that lists need not score again."""
    headline = scored.headline
    if headline is None:
        return {"value": None, "unit": "could not be done"}
    return {"value": headline[0], "unit": headline[1]}
