"""Forms read as plain words: every field a string, ticks and choices of one name put together."""

from typing import Annotated

from fastapi import Depends, Request
from starlette.datastructures import UploadFile

from service.web.visit import FORM_TYPES

LONGEST_FIELD = 2000

Fields = dict[str, str]


async def fields_of(request: Request) -> Fields:
    """What was filled in. Several values under one name are joined by spaces."""
    if not request.headers.get("content-type", "").startswith(FORM_TYPES):
        return {}
    found: Fields = {}
    for name, value in (await request.form()).multi_items():
        if isinstance(value, str):
            words = value[:LONGEST_FIELD]
            found[name] = f"{found[name]} {words}" if name in found else words
    return found


FieldsHere = Annotated[Fields, Depends(fields_of)]


async def file_of(request: Request) -> bytes | None:
    """The file under the name `file`, or None where none was chosen."""
    if not request.headers.get("content-type", "").startswith("multipart/form-data"):
        return None
    held = (await request.form()).get("file")
    if not isinstance(held, UploadFile) or not held.filename:
        return None
    return await held.read()


FileHere = Annotated[bytes | None, Depends(file_of)]
