"""docs/rule.md says what the code does: tables calculated again, commands run, rules named."""

import re
import shlex
from pathlib import Path

import pytest
from rule_tables import CALCULATED, SIMULATED

from rungwise.cli import main
from rungwise.ladder.progression import RULES

DOCS = Path(__file__).parents[2] / "docs"
PAGE = (DOCS / "rule.md").read_text(encoding="utf-8")


def table_of(name: str) -> str:
    found = re.search(rf"<!-- table: {name} -->\n\n(.*?)\n\n<!-- end -->", PAGE, re.DOTALL)
    assert found is not None, name
    return found[1]


@pytest.mark.parametrize("name", CALCULATED)
def test_calculated_tables_are_up_to_date(name: str) -> None:
    again = "run tests/ladder/write_rule_figures.py"
    assert table_of(name) == CALCULATED[name](), again


@pytest.mark.parametrize("name", SIMULATED)
def test_simulated_tables_are_there(name: str) -> None:
    assert table_of(name).count("\n") >= 3  # its head and two rows


def test_the_simulated_levels_are_within_two_hundredths_of_the_published() -> None:
    rows = [row.split("|")[1:-1] for row in table_of("levels").splitlines()[2:]]
    assert len(rows) == 7
    for row in rows:
        published, calculated, steady = (float(cell) for cell in row[2:5])
        mean, error = (float(word) for word in row[5].split("±"))
        assert abs(calculated - published) <= 0.02
        assert abs(steady - published) <= 0.02
        assert abs(mean - published) <= 0.02
        assert abs(mean - calculated) <= 2 * error + 0.002


def test_every_picture_is_there_and_has_words_for_it() -> None:
    pictures = re.findall(r"!\[(.+?)\]\((.+?)\)", PAGE)
    assert len(pictures) == 4
    for words, file in pictures:
        assert len(words) > 10
        assert (DOCS / file).read_text(encoding="utf-8").startswith("<?xml")


def commands() -> list[str]:
    blocks = re.findall(r"```\n(.*?)```", PAGE, re.DOTALL)
    return [line for block in blocks for line in block.splitlines()]


@pytest.mark.parametrize("command", commands())
def test_commands_on_the_page_run(
    command: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    program, *arguments = shlex.split(command)
    assert program == "rungwise"
    assert main([*arguments, "--days", "20", "--clients", "1"]) == 0
    assert capsys.readouterr().out


def test_every_rule_is_on_the_page() -> None:
    assert len(commands()) == 5
    for name in RULES:
        assert f"`{name}`" in PAGE
