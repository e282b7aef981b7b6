"""What a safety text must never lose, whoever words it, and the emergency numbers."""

import re
import tomllib
from collections.abc import Mapping
from functools import cache
from importlib import resources

from service.wording.catalogue import CATALOGUE, LONGEST
from service.wording.segments import segments, to_gsm7
from service.wording.texts import LANGUAGES, fill, places

# 112 is answered from a mobile phone in most countries, whatever the local number is (3GPP TS
# 22.101, from memory): the best guess when a practice has set none.
FALLBACK_NUMBER = "112"

_STOP_SIT_CALL_TOLD = ("stop", "sit", "call", "told")
_DOUBT = ("yes_no", "stop", "sit", "call")

# The parts each safety text must keep.
REQUIRED_PARTS: Mapping[str, tuple[str, ...]] = {
    "safety_fall": (*_STOP_SIT_CALL_TOLD, "cannot_get_up"),
    "safety_near_fall": _STOP_SIT_CALL_TOLD,
    "safety_pain": (*_STOP_SIT_CALL_TOLD, "chest"),
    "safety_dizzy": _STOP_SIT_CALL_TOLD,
    "safety_emergency": _STOP_SIT_CALL_TOLD,
    "ask_fall": _DOUBT,
    "ask_pain": (*_DOUBT, "chest"),
    "ask_dizzy": _DOUBT,
    "ask_hurt": ("hurt", "cannot_get_up", "yes_no", "call"),
    "ask_pain_score": ("zero_to_ten", "call"),
    "doubt_cleared": ("stop", "sit", "call"),
    "hurt_yes": ("call", "told"),
    "hurt_no": ("rest", "call"),
    "pain_score_kept": ("rest", "call"),
    "resting": ("stop", "rest", "sit", "call"),
    "help": ("hurt", "yes_no", "call", "cannot_get_up"),
}

_PART_NAMES: Mapping[str, str] = {
    "stop": "tell the client to stop",
    "sit": "tell the client to sit or lie down",
    "call": "tell the client to call {number}",
    "told": "say that the trainer is being told",
    "cannot_get_up": "name not being able to get up",
    "chest": "name pain in the chest",
    "yes_no": "ask for YES or NO",
    "hurt": "ask whether the client is hurt",
    "zero_to_ten": "ask for a number from 0 to 10",
    "rest": "tell the client to rest",
}

# Each part is one whole word or phrase, by language. A sentence that says not to is no match.
_PART_WORDS: Mapping[str, Mapping[str, str]] = {
    "en": {
        "stop": r"stop",
        "sit": r"(?:sit|lie|stay lying)",
        "call": r"(?:call|ring|phone|dial) \{number\}",
        "told": r"(?:telling|tell|told|alerted|alerting) your trainer",
        "cannot_get_up": r"(?:(?:can't|cannot|can not) get up|unable to get up)",
        "chest": r"chest",
        "yes_no": r"YES or NO",
        "hurt": r"hurt",
        "zero_to_ten": r"0 to 10",
        "rest": r"(?:rest|resting)",
    },
    "es": {
        "stop": r"(?:pare|deténgase)",
        "sit": r"(?:siéntese|túmbese|acuéstese)",
        "call": r"llame al \{number\}",
        "told": r"(?:avisamos|avisando|hemos avisado) a su entrenador",
        "cannot_get_up": r"no (?:puede levantarse|se levanta)",
        "chest": r"pecho",
        "yes_no": r"sí o no",
        "hurt": r"(?:daño|herid[oa]|lastimad[oa])",
        "zero_to_ten": r"0 a 10",
        "rest": r"(?:descanse|reposo)",
    },
}

_NEGATED = {
    "en": r"(?:don't|do not|never|no need to|need not|not)\s+(?:please\s+)?",
    "es": r"(?:no|nunca|sin)\s+(?:hace falta que\s+)?",
}

# Words that could send someone hurt on, cheer about a fall, or promise that a person reads at once.
_FORBIDDEN: Mapping[str, tuple[str, ...]] = {
    "en": (
        r"carry on", r"keep going", r"keep practi[sc]ing", r"go on", r"continue", r"try again",
        r"push through", r"once more", r"well done", r"great", r"congratulations", r"good job",
        r"don't worry", r"do not worry", r"no problem", r"never mind", r"fun",
        r"(?:will|'ll) (?:call|phone|ring|reply|answer|be with) you",
        r"straight away", r"right away", r"immediately", r"at once", r"in a (?:minute|moment)",
        r"is (?:reading|watching)", r"stop worrying", r"help is (?:on the way|coming)",
    ),
    "es": (
        r"continúe", r"siga practicando", r"siga adelante", r"inténtelo de nuevo", r"otra vez",
        r"bien hecho", r"felicidades", r"enhorabuena", r"genial", r"no se preocupe",
        r"no pasa nada", r"le (?:llamará|llamaremos|responderá|responderemos)",
        r"enseguida", r"de inmediato", r"la ayuda (?:va|está) en camino",
    ),
}  # fmt: skip


def safety_text_problems(name: str, text: str, language: str = "en") -> list[str]:
    """Why a safety text may not be worded so; an empty list when it may.

    `text` is a template in `language`, its values still in braces. Each problem is a whole
    sentence for the trainer. This checks words, not sense: a person still has to read the text.
    """
    problems = [f"It must {_PART_NAMES[part]}." for part in _missing(name, text, language)]
    tongue = language if language in LANGUAGES else "en"
    for pattern in _FORBIDDEN[tongue]:
        if found := _whole(pattern).search(_plain(text)):
            problems.append(f"It must not say {found[0]!r}.")
    problems += place_problems(name, text)
    if not problems:
        problems += length_problems(name, text)
    return problems


def place_problems(name: str, text: str) -> list[str]:
    """Names in braces that this text is not given; every text must be free of them."""
    known = CATALOGUE[name].values
    allowed = ", ".join(f"{{{value}}}" for value in known) or "no names in braces"
    strange = sorted(places(text) - set(known))
    problems = [f"{{{place}}} is not known here; this text can use {allowed}." for place in strange]
    rest = re.sub(r"\{[a-z_]+\}", "", text)
    if "{" in rest or "}" in rest:
        problems.append(f"Braces stand only around names; this text can use {allowed}.")
    return problems


def length_problems(name: str, text: str) -> list[str]:
    """Whether the text keeps to its segments when its values are as long as LONGEST says."""
    spec = CATALOGUE[name]
    longest = {value: "N" * LONGEST[value] for value in spec.values}
    measured = segments(to_gsm7(fill(name, text, longest)))
    if measured.count <= spec.segments:
        return []
    unit = "characters" if measured.encoding == "GSM-7" else "characters (of any script)"
    return [
        f"It takes {measured.count} SMS segments ({measured.units} {unit} with long names); "
        f"it may take {spec.segments}."
    ]


def emergency_number(country: str | None, own: str | None = None) -> str:
    """The number to call in an emergency: the practice's own, or the country's (ISO 3166-1).

    A country we don't know gives 112; `known_country` tells, so that a page can ask for one.
    """
    if own and own.strip():
        return own.strip()
    return _numbers().get((country or "").strip().upper(), FALLBACK_NUMBER)


def known_country(country: str) -> bool:
    """Whether the country's emergency number is in our list."""
    return country.strip().upper() in _numbers()


def _missing(name: str, text: str, language: str) -> list[str]:
    tongue = language if language in LANGUAGES else "en"
    patterns = _PART_WORDS[tongue]
    asserted = _whole(_NEGATED[tongue] + r"\w+").sub(" ", _plain(text))
    return [
        part
        for part in REQUIRED_PARTS.get(name, ())
        if not _whole(_plain(patterns[part])).search(
            asserted if part in ("stop", "sit", "call", "told", "rest") else _plain(text)
        )
    ]


def _plain(text: str) -> str:
    """The text as it is sent, so that a word with its accents dropped is known again."""
    return to_gsm7(text)


def _whole(pattern: str) -> re.Pattern[str]:
    return re.compile(rf"(?<![\w']){pattern}(?![\w'])", re.IGNORECASE)


@cache
def _numbers() -> dict[str, str]:
    source = resources.files("service.wording").joinpath("emergency_numbers.toml")
    return {k: str(v) for k, v in tomllib.loads(source.read_text(encoding="utf-8")).items()}
