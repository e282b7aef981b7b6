"""The page for trainers says what the reader does."""

import re
from pathlib import Path
from typing import get_args

import pytest

from rungwise.reply import Context, Kind, read

PAGE = (Path(__file__).parents[2] / "docs" / "reading-replies.md").read_text(encoding="utf-8")
EXAMPLE = r"^\| `(.+?)` \| `(\w+)`, (`[^`]+`|none), (`\w+`|not told) \|$"
EXAMPLES = re.findall(EXAMPLE, PAGE, flags=re.MULTILINE)


def test_every_kind_is_explained() -> None:
    assert set(get_args(Kind)) <= set(re.findall(r"^\| `(\w+)` \|", PAGE, flags=re.MULTILINE))


def test_there_are_examples() -> None:
    assert len(EXAMPLES) >= 9


@pytest.mark.parametrize(("text", "kind", "held", "steadiness"), EXAMPLES)
def test_an_example_is_read_as_the_page_says(text, kind, held, steadiness) -> None:
    reading = read(text, Context(sided=True))
    told = ", ".join(f"{hold.side or ''} {hold.seconds:g}".strip() for hold in reading.holds)
    assert reading.kind == kind
    assert (f"`{told}`" if told else "none") == held
    assert (f"`{reading.steadiness}`" if reading.steadiness else "not told") == steadiness
