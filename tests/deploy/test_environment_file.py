"""The environment file: what is written is read again alike by us and by the shell."""

import shlex
import subprocess

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rungwise.commands.environment_file import (
    UnreadableFile,
    Unwritable,
    merged,
    parse,
    quoted,
)

VALUES = [
    "",
    "plain",
    "with space",
    "pass & word+%41",
    "$HOME and `date` and #",
    "it's",
    'say "so"',
    "back\\slash",
    "ends in \\",
    "é ɛ 👍",
    "postgresql:///rungwise?host=/var/run/postgresql",
]


@pytest.mark.parametrize("value", VALUES)
def test_the_shell_and_we_read_what_is_written(value: str) -> None:
    line = f"NAME={quoted(value)}"
    assert parse(line) == {"NAME": value}
    shell = subprocess.run(
        ["sh", "-c", f'{line}\nprintf %s "$NAME"'], capture_output=True, text=True, check=True
    )
    assert shell.stdout == value


@given(st.text(st.characters(exclude_categories=["Cs", "Cc"], exclude_characters="\u2028\u2029")))
def test_whatever_can_be_written_is_read_again(value: str) -> None:
    try:
        line = f"NAME={quoted(value)}"
    except Unwritable:
        assert "'" in value
        return
    assert parse(line) == {"NAME": value}
    assert shlex.split(line) == [f"NAME={value}"]


@pytest.mark.parametrize("value", ["two\nlines", "a\rb", "it's $5", 'it\'s "so"', "'\\"])
def test_what_no_quotes_can_hold_is_refused(value: str) -> None:
    with pytest.raises(Unwritable, match="NAME_FILE"):
        quoted(value)


@pytest.mark.parametrize("line", ["no equals sign", "A=two words", "A='open", "1A=x", "A =x"])
def test_a_line_that_says_nothing_is_named_by_its_number_only(line: str) -> None:
    with pytest.raises(UnreadableFile, match="Line 2 ") as caught:
        parse(f"A=b\n{line}\n")
    assert line not in str(caught.value)


def test_merging_keeps_remarks_and_order_and_says_each_name_once() -> None:
    before = "# ours\nB=1\nA=2 # old\n\nB=3\nGONE=x\nexport C=4\n"
    after = merged(before, {"A": "5", "B": "a b", "D": "6", "GONE": None, "NEVER": None})
    assert after == "# ours\nB='a b'\nA=5\n\nexport C=4\nD=6\n"
    assert merged(after, parse(after)) == after.replace("export ", "")
