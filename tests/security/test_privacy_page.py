"""docs/privacy.md tells of every table that there is, and of nothing that there isn't."""

import re
from pathlib import Path

from sqlmodel import SQLModel

import rungwise.store
from rungwise.store.sealing.crypto import Findable, Sealed, SealedJSON

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs/privacy.md").read_text(encoding="utf-8")
KEPT = PAGE.partition("## What is kept")[2].partition("## Who sees it")[0]
assert rungwise.store


def test_every_table_is_told_of() -> None:
    told = set(re.findall(r"`(\w+)`", KEPT)) - {"once"}
    assert told == {table.name for table in SQLModel.metadata.sorted_tables}


def test_what_stays_in_clear_is_as_the_page_says() -> None:
    """The page promises that no name, number or word is readable: no such column is in clear."""
    names = ("name", "phone", "email", "body", "note", "called_by", "answers", "clinician")
    for table in SQLModel.metadata.sorted_tables:
        for column in table.columns:
            if column.name.endswith(names) and (table.name, column.name) not in NOBODYS:
                assert isinstance(column.type, Sealed | SealedJSON | Findable), column


# Columns of such a name that hold nothing of a person.
NOBODYS = {
    ("carrier_state", "name"),
    ("last_tick", "name"),
    ("own_wording", "name"),
    ("message", "name"),
    ("webhook_call", "body"),
    ("trainer", "page_by"),
}
