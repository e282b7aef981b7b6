"""`rungwise review-rule` on a database with stored reports."""

import json
from pathlib import Path

import pytest
from stored_practice import lives, store_clients, store_practice

from rungwise.cli import main
from rungwise.commands.review_rule import HELP
from rungwise.ladder.caution import SAFE_BOUNDS
from rungwise.store import Store


@pytest.fixture
def clients(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> list[int]:
    address = f"sqlite:///{tmp_path / 'here.sqlite3'}"
    monkeypatch.setenv("RUNGWISE_DATABASE_URL", address)
    assert main(["migrate"]) == 0
    store = Store(address)
    with store.write() as session:
        trainer = store_practice(session)
    ids = store_clients(store, trainer, lives(2, 30), 3)
    store.close()
    return ids


def test_it_says_what_would_have_waited(clients, capsys):
    capsys.readouterr()
    assert main(["review-rule", "--preset", "gentle"]) == 0
    first, second, *_ = capsys.readouterr().out.splitlines()
    assert first.endswith("decisions of 3 clients; nothing was changed.")
    assert second.startswith("With the gentle preset, ")
    assert "moves up would have waited" in second


def test_the_same_settings_change_nothing(clients, capsys):
    capsys.readouterr()
    assert main(["review-rule", "--preset", "usual", "--days"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == 3
    assert lines[1].startswith("With the usual preset, 0 of ")


def test_each_day_is_a_line_of_json_and_the_sum_is_the_last(clients, capsys):
    capsys.readouterr()
    command = ["review-rule", "--steady-days-step", "4", "--client", str(clients[0]), "--json"]
    assert main(command) == 0
    *days, last = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    summed = last["sum"]
    assert summed["settings"] == "steady days step 4"
    assert summed["clients"] == 1
    assert sum(summed["changed"].values()) == len(days) > 0
    assert {day["client_id"] for day in days} == {clients[0]}
    assert {"day", "was", "would", "because", "rung_key"} <= set(days[0])


@pytest.mark.parametrize(
    ("options", "sentence"),
    [
        ([], "a preset, or at least one setting"),
        (["--steady-days-step", "1"], "from 2 to 14"),
        (["--preset", "gentle", "--client", "999"], "There is no client 999"),
    ],
)
def test_what_cannot_be_is_said_in_a_sentence(clients, capsys, options, sentence):
    assert main(["review-rule", *options]) == 2
    assert sentence in capsys.readouterr().err


def test_the_second_opinion_can_be_left_out(clients, capsys):
    capsys.readouterr()
    assert main(["review-rule", "--least-chance", "0"]) == 0
    assert "With least chance off" in capsys.readouterr().out


def test_every_setting_of_the_rule_has_an_option():
    assert set(HELP) == set(SAFE_BOUNDS)
