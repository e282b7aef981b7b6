"""`rungwise client edit`: every fact from the command line, shown first and stored once seen."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from editing import CHANGES, NEW, add_second_number, days_go_by, stored
from web_world import World, make_world

from rungwise.cli import main

ROOT = Path(__file__).parents[2]


@pytest.fixture
def world(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[World]:
    made = make_world(tmp_path, is_demo=True)
    monkeypatch.setenv("RUNGWISE_DATABASE_URL", made.store.url)
    # Its tables were made at once and not step by step.
    newest = sorted((ROOT / "migrations/versions").glob("0*.py"))[-1].name[:4]
    with made.store.engine.begin() as connection:
        connection.exec_driver_sql("CREATE TABLE alembic_version (version_num VARCHAR(32))")
        connection.exec_driver_sql(f"INSERT INTO alembic_version VALUES ('{newest}')")
    add_second_number(made)
    yield made
    made.store.close()


def edit(world: World, *more: str) -> int:
    ada = str(world.clients["ada"])
    return main(["client", "edit", ada, "--by", "lena@example.org", *more])


@pytest.mark.parametrize("fact", CHANGES)
def test_a_fact_is_changed_and_the_next_text_follows(
    world: World, capsys: pytest.CaptureFixture[str], fact: str
) -> None:
    before = stored(world)
    words = [one for name, value in CHANGES[fact].items() for one in ("--set", f"{name}={value}")]
    assert edit(world, *words) == 0
    shown = capsys.readouterr().out
    assert stored(world) == before, "nothing is stored before it was looked at"
    seen = shown.split("--seen ")[1].strip()
    assert edit(world, *words, "--seen", seen) == 0
    assert {**before, **CHANGES[fact]} == stored(world)
    coming = [line for line in shown.splitlines() if line.startswith("Text, the next day's")]
    days_go_by(world, coming[0].partition(": ")[2] if coming else None)


def test_without_a_change_it_shows_what_is_stored(
    world: World, capsys: pytest.CaptureFixture[str]
) -> None:
    assert edit(world) == 0
    shown = dict(line.split("=", 1) for line in capsys.readouterr().out.splitlines())
    assert shown == stored(world)
    assert edit(world, "--set", "name=Ada Sample") == 0
    assert "Nothing is changed" in capsys.readouterr().out


def test_a_new_phone_is_asked(world: World, capsys: pytest.CaptureFixture[str]) -> None:
    assert edit(world, "--set", f"phone={NEW}") == 0
    shown = capsys.readouterr().out
    assert f"{NEW} is asked first." in shown
    assert f"Text, now, to ask, to {NEW}: This is Harbour Balance." in shown
    assert edit(world, "--set", f"phone={NEW}", "--seen", shown.split("--seen ")[1].strip()) == 0
    assert stored(world)["phone"] == "+12025550200"


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (["--set", "name"], "such as time_zone=America/Denver"),
        (["--set", "name=X", "--seen", "made-up"], "not what was looked at"),
        (["--set", "shoe=45"], "There is no such fact."),
        (["--set", "time_zone=Moon/Base"], "zone name"),
    ],
)
def test_what_cannot_be_is_refused_with_a_sentence(
    world: World, capsys: pytest.CaptureFixture[str], more: list[str], said: str
) -> None:
    before = stored(world)
    assert edit(world, *more) == 2
    assert said in capsys.readouterr().err
    assert stored(world) == before
