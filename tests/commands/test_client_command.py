"""`rungwise migrate`, `client` and `serve` from the command line, on a fresh database."""

import json
import socket
from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlmodel import select

from rungwise.cli import main
from rungwise.coach.accounts.trainers import add_trainer
from rungwise.coach.enrolment.screening_questions import QUESTIONS
from rungwise.coach.record.clearance import latest_screening
from rungwise.commands.serve import check_port
from rungwise.settings import Settings, WrongSetting
from rungwise.store import Store
from rungwise.store.tables import Client, Message, Practice, Trainer

FINE = {one.name: one.choices[0].value for one in QUESTIONS}
PROFILE = {"body": {"foot_length_mm": 246, "foot_breadth_mm": 93, "hip_width_mm": 177}}


@pytest.fixture
def address(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    address = f"sqlite:///{tmp_path / 'here.sqlite3'}"
    monkeypatch.setenv("RUNGWISE_DATABASE_URL", address)
    return address


@pytest.fixture
def practice(address: str) -> Store:
    assert main(["migrate"]) == 0
    store = Store(address)
    now = datetime(2026, 3, 2, tzinfo=UTC)
    with store.write() as session:
        here = Practice(name="Harbour", phone="+12025550100", created_at=now)
        session.add(here)
        session.flush()
        tess = add_trainer(session, now, here, "Tess", "tess@example.org", "a long enough password")
        tess.page_answered_at = now
    return store


def add(tmp_path: Path, **changed: str) -> list[str]:
    profile = tmp_path / "profile.json"
    profile.write_text(json.dumps(PROFILE))
    screening = tmp_path / "screening.json"
    screening.write_text(json.dumps(FINE))
    words = {
        "screening": str(screening),
        "trainer": "tess@example.org",
        "name": "Ada Sample",
        "phone": "+12025550103",
        "profile": str(profile),
        "zone": "America/New_York",
    } | changed
    return ["client", "add", *(word for k, v in words.items() for word in (f"--{k}", v))]


def test_migrate_twice_says_so(address: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["migrate"]) == 0
    assert main(["migrate"]) == 0
    assert "already" in capsys.readouterr().out


def test_serving_an_empty_database_says_to_migrate(
    address: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["serve"]) == 2
    assert "rungwise migrate" in capsys.readouterr().err


def test_add_list_and_show(
    practice: Store, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(add(tmp_path)) == 0
    assert "Side by side" in capsys.readouterr().out
    assert main(["client", "list", "--json"]) == 0
    listed = json.loads(capsys.readouterr().out)
    assert [(row["name"], row["state"]) for row in listed] == [("Ada Sample", "invited")]
    assert main(["client", "show", str(listed[0]["id"]), "--json"]) == 0
    shown = json.loads(capsys.readouterr().out)
    assert shown["moves"][0]["kind"] == "override"
    assert main(["client", "show", str(listed[0]["id"])]) == 0
    assert "Ada Sample" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"phone": "ring the bell"}, "telephone number"),
        ({"zone": "Mars/Olympus"}, "zone name"),
        ({"trainer": "nobody@example.org"}, "no trainer"),
        ({"hour": "05:00"}, "from 08:00 to before 21:00"),
        ({"hour": "teatime"}, "such as 09:00"),
        ({"days": "someday"}, "mon,wed,fri"),
        ({"rung": "the moon"}, "a rung of this client's ladder"),
        ({"profile": "/nowhere.json"}, "can't be read"),
        ({"screening": "/nowhere.json"}, "with the answers to falls, dizzy"),
    ],
)
def test_what_cannot_be_is_refused_with_a_sentence_and_nothing_is_stored(
    practice: Store,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    changed: dict[str, str],
    said: str,
) -> None:
    assert main(add(tmp_path, **changed)) == 2
    assert said in capsys.readouterr().err
    assert main(["client", "list", "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == []


def test_somebody_is_screened_from_the_command_line_as_on_the_page(
    practice: Store, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    unsure = tmp_path / "unsure.json"
    unsure.write_text(json.dumps({**FINE, "dizzy": "yes"}))
    assert main([*add(tmp_path, screening=str(unsure)), "--agreed"]) == 0
    told = capsys.readouterr().out
    assert "Gets dizzy on standing." in told
    assert "No text goes yet. The screening says to ask the client's clinician first." in told
    with practice.read() as session:
        client = session.exec(select(Client)).one()
        assert session.exec(select(Message)).all() == []
        assert latest_screening(session, client.id).outcome == "ask_first"
    assert client.state == "invited"
    unsure.write_text(json.dumps({"dizzy": "no"}))
    assert main(add(tmp_path, screening=str(unsure), phone="+12025550104")) == 2
    assert "falls" in capsys.readouterr().err


def test_the_same_number_twice_is_refused(
    practice: Store, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(add(tmp_path)) == 0
    assert main(add(tmp_path, name="Bo Other")) == 2
    assert "no other client" in capsys.readouterr().err


def test_a_taken_port_is_named(capsys: pytest.CaptureFixture[str]) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        assert main(["try", "--port", str(port)]) == 2
        assert f"127.0.0.1:{port}" in capsys.readouterr().err
    check_port(Settings(port=port))


@pytest.mark.parametrize(
    ("name", "value"), [("PORT", "eighty"), ("PORT", "0"), ("HANDSET_TOKEN", "short")]
)
def test_a_wrong_setting_is_named(name: str, value: str) -> None:
    with pytest.raises(WrongSetting, match=f"RUNGWISE_{name}"):
        Settings.from_environment({f"RUNGWISE_{name}": value})


def test_a_secret_may_come_from_a_file(tmp_path: Path) -> None:
    secret = tmp_path / "token"
    secret.write_text("a-token-from-a-file\n")
    settings = Settings.from_environment({"RUNGWISE_HANDSET_TOKEN_FILE": str(secret)})
    assert settings.handset_token == "a-token-from-a-file"


def test_clients_are_handed_over_after_a_look_and_the_leaver_is_shut_out(
    practice: Store, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    now = datetime(2026, 3, 2, tzinfo=UTC)
    with practice.write() as session:
        here = session.exec(select(Practice)).one()
        lead = add_trainer(session, now, here, "Lena", "lena@example.org", "a long enough password")
        lead.role = "lead"
    assert main(add(tmp_path)) == 0
    capsys.readouterr()
    hand = ["practice", "hand-over", "--by", "lena@example.org", "--giver", "tess@example.org"]
    hand += ["--to", "lena@example.org", "--close"]
    assert main(hand) == 0
    told = capsys.readouterr().out
    assert "From Tess to Lena: Ada Sample." in told
    seen = told.split("--seen ")[1].strip()
    assert main([*hand, "--seen", "something else"]) == 2
    assert "Someone else changed this" in capsys.readouterr().err
    assert main([*hand, "--seen", seen]) == 0
    with practice.read() as session:
        assert session.exec(select(Client)).one().trainer_id == lead.id
        tess = session.exec(select(Trainer).where(Trainer.email == "tess@example.org")).one()
        assert not tess.active
