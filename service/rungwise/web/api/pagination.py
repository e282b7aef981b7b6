"""Pages by cursor: what was the last row of one page is where the next begins."""

from collections.abc import Callable, Sequence
from typing import Annotated, Generic, TypeVar

from fastapi import Query
from pydantic import BaseModel

from rungwise.web.http.auth import LARGEST_ID

Row = TypeVar("Row")
Out = TypeVar("Out")

MOST = 200
Limit = Annotated[int, Query(ge=1, le=MOST, description="How many at most on this page.")]
Cursor = Annotated[
    str,
    Query(
        pattern="^(after-[1-9][0-9]{0,9})?$",
        description="`next` of the page before; empty for the first.",
    ),
]


class Page(BaseModel, Generic[Out]):
    """One page. `next` is the cursor of the next one, null on the last."""

    items: list[Out]
    next: str | None


def last_id(cursor: str) -> int | None:
    """The id that a cursor stands for."""
    # A number past all ids is after, or before, everything.
    return min(int(cursor.removeprefix("after-")), LARGEST_ID) if cursor else None


def cursor_of(last: int) -> str:
    return f"after-{last}"


def page_of(
    rows: Sequence[Row], limit: int, id_of: Callable[[Row], int], out: Callable[[Row], Out]
) -> Page[Out]:
    """A page from one row more than it holds: the one more says that there is another page."""
    shown = rows[:limit]
    more = len(rows) > limit
    return Page(
        items=[out(row) for row in shown], next=cursor_of(id_of(shown[-1])) if more else None
    )
