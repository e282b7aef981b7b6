"""Forms read as plain words: every field a string, ticks and choices of one name put together."""

from typing import Annotated

from fastapi import Depends, Request

from rungwise.carriers.checks import storable
from rungwise.web.http.auth import FORM_TYPES
from rungwise.web.http.security import LARGEST_FORM

LONGEST_FIELD = 2000
# A list of clients, or of their numbers, comes back from its own preview as a whole.
LONGEST = {"list": LARGEST_FORM, "clients": LARGEST_FORM}

Fields = dict[str, str]


async def fields_of(request: Request) -> Fields:
    """What was filled in. Several values under one name are joined by spaces."""
    if not request.headers.get("content-type", "").startswith(FORM_TYPES):
        return {}
    found: Fields = {}
    for name, value in (await request.form()).multi_items():
        if isinstance(value, str):
            words = storable(value[: LONGEST.get(name, LONGEST_FIELD)])
            found[name] = f"{found[name]} {words}" if name in found else words
    return found


FieldsHere = Annotated[Fields, Depends(fields_of)]
