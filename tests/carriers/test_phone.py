"""Telephone numbers are E.164 (ITU-T E.164), as the reference library `phonenumbers` has it."""

import phonenumbers
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rungwise.carriers.phone import same_phone, to_e164
from rungwise.errors import ImpossibleValue


@pytest.mark.parametrize(
    ("raw", "country", "number"),
    [
        # Valid numbers of E.164's form; the pairs are checked with `phonenumbers` below.
        ("+14155552671", "US", "+14155552671"),
        ("(415) 555-2671", "US", "+14155552671"),
        ("020 7183 8750", "GB", "+442071838750"),
        ("+44 20 7183 8750", "US", "+442071838750"),
        ("0011 44 20 7183 8750", "AU", "+442071838750"),
    ],
)
def test_numbers_as_people_write_them(raw: str, country: str, number: str) -> None:
    assert to_e164(raw, country) == number
    assert phonenumbers.is_possible_number(phonenumbers.parse(number))


@pytest.mark.parametrize("raw", ["", "call me", "+0123456789", "12", "+1234567890123456"])
def test_what_is_no_number_is_refused_with_a_sentence(raw: str) -> None:
    with pytest.raises(ImpossibleValue, match="telephone number"):
        to_e164(raw, "US")
    assert same_phone(raw, "US") == raw


@given(st.text(max_size=40))
def test_whatever_comes_out_is_at_most_15_digits_and_never_starts_with_nought(raw: str) -> None:
    try:
        number = to_e164(raw, "US")
    except ImpossibleValue:
        return
    digits = number.removeprefix("+")
    assert digits.isdigit()
    assert len(digits) <= 15
    assert digits[0] != "0"
