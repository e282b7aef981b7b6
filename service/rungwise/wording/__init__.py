"""Texts by language, and how many SMS segments they take. Pure."""

from rungwise.concepts.alert_kinds import ALERT_KINDS
from rungwise.wording.answers import prompt_text, reply_hint
from rungwise.wording.catalogue import CATALOGUE, LONGEST, TextSpec
from rungwise.wording.safety import (
    REQUIRED_PARTS,
    emergency_number,
    known_country,
    length_problems,
    place_problems,
    safety_text_problems,
    text_problems,
)
from rungwise.wording.segments import Segments, fits_one, gsm7_safe, segments, to_gsm7
from rungwise.wording.texts import (
    LANGUAGES,
    MissingValue,
    NoSuchText,
    alert_words,
    days_words,
    language_of,
    render,
    template,
    weekday_name,
)

__all__ = [
    "ALERT_KINDS",
    "CATALOGUE",
    "LANGUAGES",
    "LONGEST",
    "REQUIRED_PARTS",
    "MissingValue",
    "NoSuchText",
    "Segments",
    "TextSpec",
    "alert_words",
    "days_words",
    "emergency_number",
    "fits_one",
    "gsm7_safe",
    "known_country",
    "language_of",
    "length_problems",
    "place_problems",
    "prompt_text",
    "render",
    "reply_hint",
    "safety_text_problems",
    "segments",
    "template",
    "text_problems",
    "to_gsm7",
    "weekday_name",
]
