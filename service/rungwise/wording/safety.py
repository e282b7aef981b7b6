"""What a safety text must never lose, whoever words it, and the emergency numbers."""

import re
import tomllib
from collections.abc import Iterable, Mapping
from functools import cache
from importlib import resources

from rungwise.wording.catalogue import CATALOGUE, LONGEST
from rungwise.wording.segments import segments, to_gsm7
from rungwise.wording.texts import fill, places, table

# 112 reaches emergency services from a mobile phone in most countries, whatever the local number
# is (3GPP TS 22.101, from memory): the best guess when a practice has set none.
FALLBACK_NUMBER = "112"

_STOP_SIT_CALL_TOLD = ("stop", "sit", "call", "told")
_DOUBT = ("yes_no", "stop", "sit", "call")
_STOP_IF = ("stop", "pain", "dizzy")

# The parts each safety text must keep.
REQUIRED_PARTS: Mapping[str, tuple[str, ...]] = {
    "first": ("support", *_STOP_IF, "no_emergency_service", "call", "stop_word", "help_word"),
    "caution": _STOP_IF,
    "caution_short": _STOP_IF,
    "return_after_rest": _STOP_IF,
    "resumed": _STOP_IF,
    "away_back": _STOP_IF,
    "help": ("hurt", "yes_no", "call", "cannot_get_up"),
    "safety_fall": (*_STOP_SIT_CALL_TOLD, "hurt", "cannot_get_up", "chest"),
    "safety_near_fall": (*_STOP_SIT_CALL_TOLD, "hurt", "chest"),
    "safety_pain": (*_STOP_SIT_CALL_TOLD, "chest"),
    "safety_dizzy": (*_STOP_SIT_CALL_TOLD, "chest", "cannot_get_up"),
    "safety_emergency": _STOP_SIT_CALL_TOLD,
    "safety_late": (*_STOP_SIT_CALL_TOLD, "hurt", "cannot_get_up"),
    "stranger_sign": ("call", "hurt", "cannot_get_up"),
    "ask_fall": (*_DOUBT, "hurt", "cannot_get_up"),
    "ask_pain": (*_DOUBT, "chest"),
    "ask_dizzy": (*_DOUBT, "chest"),
    "doubt_cleared": ("stop", "sit", "call"),
    "ask_hurt": ("hurt", "cannot_get_up", "yes_no", "call"),
    "hurt_yes": ("call", "told"),
    "hurt_no": ("rest", "call"),
    "ask_pain_score": ("zero_to_ten", "call"),
    "pain_score_kept": ("rest", "call"),
    "start_resting": ("rest",),
    "unread_again": ("call",),
    "safety_fall_other": ("call", "told", "hurt", "cannot_get_up", "chest", "yes_no"),
    "hurt_cannot": ("call", "told"),
    "hurt_comfort": ("rest", "call"),
    "ask_hurt_again": ("call", "hurt", "yes_no"),
    "ask_hurt_help": ("call", "hurt", "cannot_get_up", "yes_no"),
    "hurt_unclear": ("call", "told", "hurt", "cannot_get_up"),
    "how_get_up": ("call", "told"),
    "help_no": ("call",),
    "ask_fall_again": ("call", "hurt", "yes_no"),
    "ask_pain_again": ("call", "chest", "yes_no"),
    "ask_dizzy_again": ("call", "chest", "yes_no"),
    "doubt_unclear": ("sit", "call", "told"),
    "pain_high": ("rest", "call", "told", "chest"),
    "pain_score_high": ("rest", "told"),
    "ask_usual": ("stop", "call", "yes_no"),
    "usual_same": ("stop",),
    "ask_usual_again": ("call", "yes_no"),
    "resting_result": ("stop", "sit", "rest", "call"),
    "resting_any": ("rest", "call"),
    "resting_when": ("rest", "call"),
    "resting_thanks": ("rest", "call"),
    "resting_repeat": ("call",),
    "despair": ("call", "told"),
    "despair_no_line": ("call", "told"),
    "despair_again": ("call",),
    "news_home": ("told",),
    "sign_of_other": ("call", "told"),
    "back_held": ("call",),
    "unknown_number": ("call",),
    "unknown_name": ("call",),
    "second_phone": ("call",),
    "paused": ("call",),
    "many_texts": ("call",),
    "paused_from": ("call",),
    "safety_head": ("stop", "sit", "call", "told"),
    "ask_emergency": ("stop", "sit", "call", "chest", "yes_no"),
    "ask_emergency_again": ("call", "chest", "yes_no"),
    "emergency_kept": ("call", "told"),
    "emergency_eased": ("call",),
    "emergency_again": ("call", "told"),
    "ask_when": ("sit", "call", "hurt", "yes_no"),
    "ask_when_again": ("call", "hurt", "yes_no"),
    "old_event_kept": ("stop", "sit", "call"),
    "correction_kept": ("call", "told"),
    "ask_pain_score_again": ("call", "chest"),
    "ask_fall_day": ("hurt", "call"),
    "ask_fall_day_again": ("call",),
    "fall_day_kept": ("rest", "call"),
}

# Texts that must use all their values: without one, the client would not get the task itself.
_ALL_PLACES = frozenset({"prompt", "task_again", "hint_sided", "hint_same", "ask_other_side"})

_PART_NAMES: Mapping[str, str] = {
    "stop": "tell the client to stop",
    "sit": "tell the client to sit or lie down",
    "rest": "tell the client to rest",
    "call": "tell the client to call {number}",
    "told": "say that the trainer is being told",
    "hurt": "ask or say whether the client is hurt",
    "cannot_get_up": "name not being able to get up",
    "chest": "name pain in the chest",
    "pain": "name pain",
    "dizzy": "name dizziness or feeling faint",
    "yes_no": "ask for YES or NO, in capitals",
    "zero_to_ten": "ask for a number from 0 to 10",
    "support": "name support within reach",
    "no_emergency_service": "say that this is not an emergency service",
    "stop_word": "name the word that ends the texts, in capitals",
    "help_word": "name the word that asks for help, in capitals",
}
# Parts that are instructions: negated, they do not count.
NOTHING = r"(?!)"
_INSTRUCTIONS = frozenset({"stop", "sit", "rest", "call", "told"})


def safety_text_problems(name: str, text: str, language: str = "en") -> list[str]:
    """Why a safety text may not be worded so; an empty list when it may.

    `text` is a template in `language`, its values still in braces. Each problem is a whole
    sentence for the trainer. This checks words, not sense: a person still has to read the text.
    """
    patterns = table(language)["parts"]
    plain, asserted = to_gsm7(text), _without_negated(text, language)
    problems = [
        f"It must {_PART_NAMES[part]}."
        for part in REQUIRED_PARTS.get(name, ())
        if not _found(patterns[part], asserted if part in _INSTRUCTIONS else plain)
        and not _found(patterns.get(f"{part}_by_not", NOTHING), plain)
    ]
    unsaid = table(language)["unsaid"]
    said = [*_all_found(unsaid["misleading"], asserted), *_all_found(unsaid["cheering"], plain)]
    problems += [f'It must not say "{words}".' for words in said]
    return problems + text_problems(name, text)


def required_parts(name: str) -> list[str]:
    """What a wording of this text must do, in words: "tell the client to stop"."""
    return [_PART_NAMES[part] for part in REQUIRED_PARTS.get(name, ())]


def text_problems(name: str, text: str) -> list[str]:
    """Why a text of any kind may not be worded so: unknown names in braces, or too long."""
    return place_problems(name, text) or length_problems(name, text)


def place_problems(name: str, text: str) -> list[str]:
    """Names in braces that this text is not given, or that it needs and lacks."""
    known = CATALOGUE[name].values
    allowed = ", ".join(f"{{{value}}}" for value in known) or "no names in braces"
    strange = sorted(places(text) - set(known))
    problems = [f"{{{place}}} is not known here; this text can use {allowed}." for place in strange]
    if name in _ALL_PLACES:
        lacking = [value for value in known if value not in places(text)]
        problems += [f"It must keep {{{value}}}." for value in lacking]
    if re.search(r"[{}]", re.sub(r"\{[a-z_]+\}", "", text)):
        problems.append(f"Braces stand only around names; this text can use {allowed}.")
    if not text.strip():
        problems.append("It must not be empty.")
    return problems


def length_problems(name: str, text: str) -> list[str]:
    """Whether the text keeps to its segments when its values are as long as LONGEST says."""
    spec = CATALOGUE[name]
    longest = {value: "N" * LONGEST[value] for value in spec.values}
    measured = segments(to_gsm7(fill(name, text, longest)))
    if measured.count <= spec.segments:
        return []
    return [
        f"It takes {measured.count} SMS segments with long names ({measured.units} characters in "
        f"{measured.encoding}); it may take {spec.segments}."
    ]


def emergency_number(country: str | None, own: str | None = None) -> str:
    """The number to call in an emergency: the practice's own, or the country's (ISO 3166-1).

    A country we don't know gives 112; `known_country` tells, so that a page can ask for one.
    """
    if own and own.strip():
        return own.strip()
    return _numbers().get((country or "").strip().upper(), FALLBACK_NUMBER)


def crisis_line(country: str | None, own: str | None = None) -> str | None:
    """The line for people in despair: the practice's own, or the country's; None where none is set.

    From memory but for the US: a practice must confirm its own before going live.
    """
    if own and own.strip():
        return own.strip()
    return _lines().get((country or "").strip().upper())


def known_country(country: str) -> bool:
    """Whether the country's emergency number is in our list."""
    return country.strip().upper() in _numbers()


def emergency_countries() -> Mapping[str, str]:
    """The numbers we know, by ISO 3166-1 country code; from memory, to be confirmed locally."""
    return dict(_numbers())


def _without_negated(text: str, language: str) -> str:
    negated = table(language)["unsaid"]["negated"]
    return _whole(negated + r"\s+(?:please\s+)?[\w']+").sub(" ", to_gsm7(text))


def _found(pattern: str, text: str) -> str | None:
    found = _whole(to_gsm7(pattern)).search(text)
    return found[0] if found else None


def _all_found(patterns: Iterable[str], text: str) -> list[str]:
    return [words for pattern in patterns if (words := _found(pattern, text))]


def _whole(pattern: str) -> re.Pattern[str]:
    return re.compile(rf"(?<![\w'])(?:{pattern})(?![\w'])", re.IGNORECASE)


def _numbers() -> dict[str, str]:
    return _by_country("emergency_numbers.toml")


def _lines() -> dict[str, str]:
    return _by_country("crisis_lines.toml")


@cache
def _by_country(name: str) -> dict[str, str]:
    source = resources.files("rungwise.wording").joinpath(name)
    return {k: str(v) for k, v in tomllib.loads(source.read_text(encoding="utf-8")).items()}
