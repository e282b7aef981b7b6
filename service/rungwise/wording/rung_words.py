"""A rung in words: for the client's text, for the trainer, and for lists.

Measures are in centimetres. The client's are rounded up to the next half centimetre, so that a
text never asks for feet closer together than the rung does.
"""

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib import resources
from typing import Any

from rungwise.ladder.body import Body
from rungwise.ladder.drawing import draw_rung
from rungwise.ladder.palette import Theme
from rungwise.ladder.rungs import Rung, half_cm_up
from rungwise.ladder.sheet import PictureWords
from rungwise.ladder.stance import Side, Stance, Surface, Under
from rungwise.wording.texts import language_of

_STANDING = frozenset({Stance.TOE_TOUCH, Stance.SINGLE_LEG})


def rung_text(rung: Rung, target_s: int, language: str = "en") -> str:
    """What the client is to do, in GSM-7 letters, to be followed without a picture."""
    return " ".join(rung_steps(rung, target_s, language))


def rung_steps(rung: Rung, target_s: int, language: str = "en") -> tuple[str, ...]:
    """The sentences of rung_text one by one, for a page in large type."""
    words = _words(language, "client")
    values = _values(rung, language, words, exact=False) | {"target_s": str(target_s)}
    parts = [_surface(rung), _stance(rung), rung.support]
    sentences = [words[name] for name in parts if name]
    sentences.append(words["hold_swap" if len(rung.sides) > 1 else "hold"])
    if len(rung.sides) == 1:
        sentences.append(words["one_side"])
    return tuple(_sentence(one.format_map(values)) for one in sentences)


def rung_cautions(rung: Rung, language: str = "en") -> tuple[str, ...]:
    """What to mind on this rung, one sentence each, for a page in large type."""
    words = _words(language, "page")
    soft = rung.surface is not Surface.FIRM or rung.on_foam
    return (*words["cautions"], *([words["soft_caution"]] if soft else []))


def picture_page_words(language: str = "en") -> Mapping[str, str]:
    """The fixed words of the page that a text can link to."""
    words = _words(language, "page")
    return {name: value for name, value in words.items() if isinstance(value, str)}


def rung_sentence(rung: Rung, language: str = "en") -> str:
    """The rung in one plain sentence for the trainer, with exact measures."""
    words = _words(language, "trainer")
    values = _values(rung, language, words, exact=True)
    surface = "firm" if rung.surface is Surface.FIRM else _surface(rung)
    names = [_stance(rung), surface, str(rung.support)]
    if rung.sides:
        stands = "stands" if len(rung.sides) > 1 else "stands_one"
        names.append(stands if rung.stance in _STANDING else "leads")
    if rung.moved_foot:
        names.append("moved")
    return _sentence(", ".join(words[name] for name in names if name).format_map(values))


def rung_short(rung: Rung, language: str = "en") -> str:
    """The rung in a few words for lists, without a full stop."""
    words = _words(language, "short")
    values = _values(rung, language, words, exact=False)
    names = [_stance(rung), _surface(rung), str(rung.support)]
    return ", ".join(words[name] for name in names if name).format_map(values)


def rung_picture(
    rung: Rung,
    body: Body,
    language: str = "en",
    *,
    theme: Theme = "light",
    lead: Side | None = None,
    for_client: bool = False,
) -> str:
    """The rung drawn from above as SVG, with its text alternative and words in `language`.

    For the client it shows the gaps that a client can see and measure.
    """
    return draw_rung(
        rung,
        body,
        title=rung_short(rung, language),
        description=rung_sentence(rung, language),
        theme=theme,
        lead=lead,
        words=PictureWords(**_words(language, "picture")),
        for_client=for_client,
    )


def _values(rung: Rung, language: str, words: Mapping[str, str], *, exact: bool) -> dict[str, str]:
    names = _words(language, "words")
    lead = rung.sides[0] if rung.sides else Side.RIGHT

    def cm(length_mm: int | None) -> str:
        length_cm = (length_mm or 0) / 10 if exact else half_cm_up(length_mm or 0)
        return f"{length_cm:.1f}".removesuffix(".0").replace(".", names["decimal"])

    return {
        "gap": cm(rung.gap_mm),
        "ahead": cm(rung.ahead_mm),
        "overlap": cm(-(rung.ahead_mm or 0)),
        "off": cm(rung.offset_mm),
        "offset": cm(rung.offset_mm),
        "layers": str(rung.layers),
        "lead": names[lead],
        "Lead": names[lead].capitalize(),
        "other": names[lead.other],
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
