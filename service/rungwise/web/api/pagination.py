"""Pages by cursor: what was the last row of one page is where the next begins."""

import base64
import binascii
from collections.abc import Callable, Sequence
from typing import Annotated, Generic, TypeVar

from fastapi import Query
from pydantic import BaseModel

from rungwise.errors import ImpossibleValue
from rungwise.web.http.auth import LARGEST_ID

Row = TypeVar("Row")
Out = TypeVar("Out")

MOST = 200
Limit = Annotated[int, Query(ge=1, le=MOST, description="How many at most on this page.")]
Cursor = Annotated[
    str, Query(max_length=40, description="`next` of the page before; empty for the first.")
]


class Page(BaseModel, Generic[Out]):
    """One page. `next` is the cursor of the next one, null on the last."""

    items: list[Out]
    next: str | None


def last_id(cursor: str) -> int | None:
    """The id that a cursor stands for; ImpossibleValue for one that is none of ours."""
    if not cursor:
        return None
    try:
        number = int(base64.urlsafe_b64decode(cursor.encode()).removeprefix(b"after "))
    except (ValueError, binascii.Error):
        number = 0
    if not 0 < number <= LARGEST_ID or cursor != cursor_of(number):
        raise ImpossibleValue("cursor", cursor, "the `next` of another page, as it came")
    return number


def cursor_of(last: int) -> str:
    return base64.urlsafe_b64encode(f"after {last}".encode()).decode()


def page_of(
    rows: Sequence[Row], limit: int, id_of: Callable[[Row], int], out: Callable[[Row], Out]
) -> Page[Out]:
    """A page from one row more than it holds: the one more says that there is another page."""
    shown = rows[:limit]
    more = len(rows) > limit
    return Page(
        items=[out(row) for row in shown], next=cursor_of(id_of(shown[-1])) if more else None
    )
