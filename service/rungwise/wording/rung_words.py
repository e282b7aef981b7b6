"""A rung in words: for the client's text, for the trainer, and for lists.

The client is told distances in words that need no ruler, or as marks of a tape; never less room
than the rung has. The trainer reads exact centimetres.
"""

import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

from rungwise.concepts.measures import Lengths, exact, halves_up, room
from rungwise.ladder.body import Body
from rungwise.ladder.drawing import draw_rung
from rungwise.ladder.palette import Theme
from rungwise.ladder.rungs import Rung
from rungwise.ladder.sheet import PictureWords
from rungwise.ladder.stance import Side, Stance, Surface, Task, Under
from rungwise.wording.feet import feet_told
from rungwise.wording.texts import language_of

_STANDING = frozenset({Stance.TOE_TOUCH, Stance.SINGLE_LEG})


@dataclass(frozen=True, slots=True)
class Telling:
    """How a client is told a rung: seconds, times, the first day of a stance, a tape, its units.

    On the first day of a stance the text also says how to stand and how to finish.
    """

    target_s: int = 20
    sets: int = 1
    first_day: bool = False
    tape: bool = False
    units: Lengths = "cm"


USUAL_TELLING = Telling()


def rung_text(
    rung: Rung, body: Body, telling: Telling = USUAL_TELLING, language: str = "en"
) -> str:
    """What the client is to do, in GSM-7 letters, to be followed without a picture or a ruler."""
    return " ".join(rung_steps(rung, body, telling, language))


def rung_steps(
    rung: Rung, body: Body, telling: Telling = USUAL_TELLING, language: str = "en"
) -> tuple[str, ...]:
    """The sentences of rung_text one by one, for a page in large type."""
    words = _words(language, "client")
    names = [_hold(rung, telling)]
    if rung.task and rung.task != Task.ARMS:
        names.append(f"task_{rung.task}")
    if telling.first_day:
        names.append("first_soft" if _is_soft(rung) else "first_day")
    values = {"target_s": str(telling.target_s), "sets": str(telling.sets)}
    done = [_sentence(words[name].format_map(values)) for name in names]
    return (*rung_stand(rung, body, telling, language), *done)


def rung_stand(
    rung: Rung, body: Body, telling: Telling = USUAL_TELLING, language: str = "en"
) -> tuple[str, ...]:
    """The sentences on how to stand alone: surface, feet and hands."""
    words = _words(language, "client")
    values = _values(rung, language, words, room, telling.units)
    feet = feet_told(rung, body, tape=telling.tape)
    rooms = _words(language, "rooms")
    stand = words["stand_only" if len(rung.sides) == 1 else "stand"]
    values |= {
        "room": rooms[feet.room] if feet.room else "",
        "across": _mark(feet.across_mm, telling.units, language),
        "along": _mark(feet.along_mm, telling.units, language),
        "stand": stand.format_map(values),
    }
    hands = "task_arms" if rung.task is Task.ARMS else str(rung.support)
    names = [_surface(rung), feet.name, hands]
    return tuple(_sentence(words[name].format_map(values)) for name in names if name)


def rung_cautions(rung: Rung, language: str = "en") -> tuple[str, ...]:
    """What to mind on this rung, one sentence each, for a page in large type."""
    words = _words(language, "page")
    return (*words["cautions"], *([words["soft_caution"]] if _is_soft(rung) else []))


def picture_page_words(language: str = "en") -> Mapping[str, str]:
    """The fixed words of the page that a text can link to."""
    words = _words(language, "page")
    return {name: value for name, value in words.items() if isinstance(value, str)}


def rung_sentence(rung: Rung, language: str = "en", lengths: Lengths = "cm") -> str:
    """The rung in one plain sentence for the trainer, with exact measures."""
    words = _words(language, "trainer")
    values = _values(rung, language, words, exact, lengths)
    surface = "firm" if rung.surface is Surface.FIRM else _surface(rung)
    names = [_stance(rung), surface, str(rung.support)]
    if rung.sides:
        stands = "stands" if len(rung.sides) > 1 else "stands_one"
        names.append(stands if rung.stance in _STANDING else "leads")
    if rung.moved_foot:
        names.append("moved")
    if rung.task:
        names.append(f"task_{rung.task}")
    return _sentence(", ".join(words[name] for name in names if name).format_map(values))


def rung_short(rung: Rung, language: str = "en", lengths: Lengths = "cm") -> str:
    """The rung in a few words for lists, without a full stop."""
    words = _words(language, "short")
    values = _values(rung, language, words, room, lengths)
    task = f"task_{rung.task}" if rung.task else ""
    names = [_stance(rung), _surface(rung), task or str(rung.support)]
    return ", ".join(words[name] for name in names if name).format_map(values)


def rung_picture(
    rung: Rung,
    body: Body,
    language: str = "en",
    *,
    theme: Theme = "light",
    lead: Side | None = None,
    for_client: bool = False,
    lengths: Lengths = "cm",
) -> str:
    """The rung drawn from above as SVG, with its text alternative and words in `language`.

    For the client it shows the gaps that a client can see and measure.
    """
    return draw_rung(
        rung,
        body,
        title=rung_short(rung, language, lengths),
        description=rung_sentence(rung, language, lengths),
        theme=theme,
        lead=lead,
        words=PictureWords(**_words(language, "picture"), lengths=lengths),
        for_client=for_client,
    )


def _is_soft(rung: Rung) -> bool:
    return rung.surface is not Surface.FIRM or rung.on_foam


def _hold(rung: Rung, telling: Telling) -> str:
    """The name of the words for how long and how often."""
    each = {0: "same", 1: "one"}.get(len(rung.sides), "each")
    return f"hold_{each}" + ("_sets" if telling.sets > 1 else "")


def _mark(length_mm: int, units: Lengths, language: str) -> str:
    written = f"{halves_up(length_mm, units):.1f}".removesuffix(".0")
    return written.replace(".", _words(language, "words")["decimal"])


def _values(
    rung: Rung,
    language: str,
    words: Mapping[str, str],
    written: Callable[[float, Lengths, str], str],
    lengths: Lengths,
) -> dict[str, str]:
    names = _words(language, "words")
    lead = rung.sides[0] if rung.sides else Side.RIGHT

    def length(length_mm: int | None) -> str:
        return written(length_mm or 0, lengths, names["decimal"])

    return {
        "gap": length(rung.gap_mm),
        "ahead": length(rung.ahead_mm),
        "overlap": length(-(rung.ahead_mm or 0)),
        "off": length(rung.offset_mm),
        "offset": length(rung.offset_mm),
        "layers": str(rung.layers),
        "lead": names[lead],
        "Lead": names[lead].capitalize(),
        "other": names[lead.other],
        "other_f": names[f"{lead.other}_f"],
        "first": names[lead],
        "moved": names[rung.moved_foot] if rung.moved_foot else "",
        "lies": words[rung.orientation] if rung.orientation else "",
    }


def _stance(rung: Rung) -> str:
    """The name of the words for how the feet stand."""
    apart, ahead_mm = (rung.gap_mm or 0) > 0, rung.ahead_mm or 0
    slid = "sliding" if ahead_mm > 0 else "level" if ahead_mm == 0 else "overlapping"
    in_front = "semi_line" if rung.gap_mm == 0 else "semi"
    names = {
        Stance.PARALLEL: "parallel" if apart else "parallel_together",
        Stance.STAGGERED: "staggered" if apart else slid,
        Stance.SEMI_TANDEM: "semi_beside" if ahead_mm < 0 else in_front,
        Stance.TANDEM: "tandem",
        Stance.TOE_TOUCH: "toe_on_foam" if rung.on_foam else "toe_touch",
        Stance.SINGLE_LEG: f"single_{rung.free_foot}",
    }
    at_landmark = {
        "staggered": "staggered_line",
        "feet_narrowest": "parallel_narrowest",
        "semi_tandem": "semi_line",
    }
    return at_landmark.get(rung.landmark or "", names[rung.stance])


def _surface(rung: Rung) -> str:
    """The name of the words for what is soft under which foot; empty on firm ground."""
    one_foot = "" if rung.under in (None, Under.BOTH) else f"_{rung.under}"
    if rung.surface is Surface.FIRM:
        return ""
    if rung.surface is Surface.MAT:
        return ("mat_one" if rung.layers == 1 else "mat") + one_foot
    if rung.stance is Stance.TANDEM:
        return "foam_whole"
    if one_foot:
        return f"foam{one_foot}"
    crossways = str(rung.orientation).endswith("crossways")
    return "foam_together" if crossways and rung.stance is Stance.PARALLEL else "foam_both"


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:] + "."


def _words(language: str, section: str) -> Mapping[str, Any]:
    words: Mapping[str, Any] = _load(language_of(language))[section]
    return words


@cache
def _load(language: str) -> dict[str, Any]:
    source = resources.files("rungwise.wording").joinpath(f"rungs_{language}.toml")
    return tomllib.loads(source.read_text(encoding="utf-8"))
