"""Telephone numbers: E.164, through the reference library."""

from functools import lru_cache

import phonenumbers

from rungwise.errors import ImpossibleValue


def to_e164(raw: str, country: str, field: str = "phone") -> str:
    """`raw` as dialled in `country` (ISO 3166 two letters), in E.164; ImpossibleValue if none."""
    try:
        number = phonenumbers.parse(raw, country)
    except phonenumbers.NumberParseException:
        number = None
    if number is None or not phonenumbers.is_possible_number(number):
        raise ImpossibleValue(field, raw, "a telephone number, such as +1 415 555 2671")
    return phonenumbers.format_number(number, phonenumbers.PhoneNumberFormat.E164)


# The practice's own number comes with every text.
@lru_cache(maxsize=256)
def same_phone(raw: str, country: str) -> str:
    """E.164 where `raw` can be read as a number, else `raw` unchanged, so nothing is lost."""
    try:
        return to_e164(raw, country)
    except ImpossibleValue:
        return raw


def phone_shown(phone: str) -> str:
    """A number as people write it down, with its country: +1 202-555-0119."""
    try:
        number = phonenumbers.parse(phone, None)
    except phonenumbers.NumberParseException:
        return phone
    return phonenumbers.format_number(number, phonenumbers.PhoneNumberFormat.INTERNATIONAL)
