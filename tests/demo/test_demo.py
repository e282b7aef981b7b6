"""The demo: loaded by playing the real loop, replayed without a difference, moved on by command."""

import csv
import json
import re
import sqlite3
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from sqlmodel import select
from starlette.testclient import TestClient

from rungwise.app import create_app
from rungwise.cli import main
from rungwise.clock import AheadClock, HandClock
from rungwise.coach.data.research import write_research
from rungwise.coach.record.day_seals import seal_days
from rungwise.coach.record.falls import falls_of
from rungwise.coach.record.falls_followed import asked_of, followed
from rungwise.coach.reports.outcomes import outcomes
from rungwise.coach.rule.replay import how_many, replay
from rungwise.demo import load_demo
from rungwise.demo.cast import cast
from rungwise.parts import assemble
from rungwise.reply import READER_VERSION
from rungwise.settings import Settings
from rungwise.store import Store
from rungwise.store.moving.migrate import migrate
from rungwise.store.queries.banner_counts import Scope
from rungwise.store.tables import Alert, Client, Message, MoveRow, Practice, Trainer
from rungwise.web.account.first_look import add_first_look

NOW = datetime(2026, 3, 20, 22, 30, tzinfo=UTC)


@pytest.fixture(scope="module")
def demo_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("demo") / "demo.sqlite3"
    store = Store(f"sqlite:///{file}")
    migrate(store)
    load_demo(store, NOW)
    store.close()
    return file


@pytest.fixture
def demo(demo_file: Path, tmp_path: Path) -> Path:
    """A copy of its own for a test that changes it."""
    copy = tmp_path / "demo.sqlite3"
    with sqlite3.connect(demo_file) as source, sqlite3.connect(copy) as target:
        source.backup(target)
    return copy


@pytest.fixture
def store(demo_file: Path) -> Store:
    return Store(f"sqlite:///{demo_file}")


def test_it_is_a_dozen_invented_clients_with_two_trainers(store: Store) -> None:
    with store.read() as session:
        assert len(session.exec(select(Client)).all()) == 12
        assert len(session.exec(select(Trainer)).all()) == 2
        assert session.exec(select(Practice)).one().is_demo


def test_numbers_are_from_the_range_kept_for_fiction(store: Store) -> None:
    # NANPA keeps 555-0100 to 555-0199 for fictional use (from memory).
    with store.read() as session:
        phones = [client.phone for client in session.exec(select(Client)).all()]
    assert all(phone.startswith("+1202555") and 100 <= int(phone[-4:]) <= 199 for phone in phones)


def test_it_shows_a_fall_a_sore_knee_a_silent_client_and_a_stop(store: Store) -> None:
    with store.read() as session:
        alerts = {alert.kind: alert for alert in session.exec(select(Alert)).all()}
        states = {client.name: client.state for client in session.exec(select(Client)).all()}
    assert {"fall", "pain", "silence", "opted_out", "near_fall", "gate_reached"} <= set(alerts)
    assert alerts["fall"].state != "handled"
    assert states["Doris Whinfell"] == "resting"
    assert states["Edwin Larkspur"] == "resting"
    assert states["Gilbert Ashcombe"] == "stopped"
    assert states["Joan Pettifer"] == "active"


def test_a_month_of_falls_is_the_same_on_pages_in_the_export_and_its_codebook(
    store: Store, tmp_path: Path
) -> None:
    """Asked, answered and missed, and one fall that was told on two days."""
    until = NOW.date()
    with store.read() as session:
        clients = session.exec(select(Client)).all()
        called = {client.called: client for client in clients}
        ids = [client.id for client in clients]
        asked = asked_of(session, ids)
        falls = falls_of(session, clients, NOW - timedelta(days=60))
        seen = followed(session, clients, NOW.date() - timedelta(days=60), until)
        page = outcomes(session, Scope(called["Ada"].practice_id, None), NOW, 4).falls
        doris = called["Doris"].id
        told = session.exec(
            select(Message.reading).where(Message.client_id == doris, Message.direction == "in")
        ).all()
        write_research(session, tmp_path / "study", ids, b"a key of the tests only", until)
    assert sum(reading["fall"] == "yes" for reading in told if reading) >= 2
    assert len(falls[doris]) == 1
    assert falls[doris][0].tellings >= 2
    periods = [one for each in asked.values() for one in each]
    answered = [one for one in periods if one.answered]
    assert len(answered) > 15
    assert [one.answered for one in asked[called["Ivo"].id]] == [False] * 3
    assert 0 < page.days_answered <= sum(one.days_answered for one in seen.values())
    assert page.days_missing > 0
    export = {
        file.stem: list(csv.DictReader(file.read_text(encoding="utf-8").splitlines()))
        for file in (tmp_path / "study").glob("*.csv")
    }
    assert len(export["falls"]) == sum(map(len, falls.values()))
    assert len(export["falls_asked"]) == len(periods)
    assert sum(row["answered"] == "yes" for row in export["falls_asked"]) == len(answered)
    days = sum(int(row["days_answered"]) for row in export["follow_up"])
    assert days == sum(one.days_answered for one in seen.values())
    missing = {(row["table"], row["column"]): int(row["missing"]) for row in export["missing"]}
    assert missing["falls_asked", "answer"] == len(periods) - len(answered)
    book = {(row["table"], row["column"]) for row in export["codebook"]}
    for table in ("falls", "falls_asked", "follow_up", "sessions"):
        assert {(table, column) for column in export[table][0]} <= book


def test_a_month_of_falls_is_read_on_the_pages_themselves(demo: Path) -> None:
    """What a trainer reads: one fall told twice, what was answered, what never came."""
    parts = assemble(Settings(database_url=f"sqlite:///{demo}", ticks=False), HandClock(NOW))
    app = create_app(parts=parts)
    with parts.store.read() as session:
        clients = session.exec(select(Client)).all()
        number = {client.called: client.id for client in clients}
        asked = asked_of(session, list(number.values()))
        counted = outcomes(session, Scope(clients[0].practice_id, None), NOW, 12).falls
    with TestClient(app, base_url="http://127.0.0.1:8780") as browser:
        browser.get(add_first_look(app))
        doris = browser.get(f"/clients/{number['Doris']}/falls").text
        ivo = browser.get(f"/clients/{number['Ivo']}/falls").text
        answering = browser.get(f"/clients/{number['Ada']}/falls").text
        table = _figures(browser.get("/outcomes?weeks=12").text)
        lines = csv.reader(browser.get("/outcomes.csv?weeks=12").text.splitlines())
    assert doris.count('<article class="sheet result"') == 1
    assert "Told 2 times by text" in doris
    assert ivo.count("<td>none came</td>") == 3
    assert "3 times without an answer" in ivo
    fine = [one for one in asked[number["Ada"]] if one.answered and not one.fell]
    assert fine
    assert answering.count("<td>no fall</td>") == len(fine)
    assert table["Falls"] == str(counted.falls)
    assert table["Days missing, not asked or not answered"] == str(counted.days_missing)
    assert table["Days answered for"].split()[0] == str(counted.days_answered)
    told = {line[2]: line[3] for line in lines if line[0] == "falls"}
    assert told["falls"] == str(counted.falls)
    assert told["days_answered"] == str(counted.days_answered)


def _figures(page: str) -> dict[str, str]:
    """The rows of a page's tables with a heading and one figure."""
    rows = re.findall(r'<tr><th scope="row">([^<]+)</th><td>([^<]+)</td></tr>', page)
    return dict(rows)


def test_everyone_moved_or_has_a_reason_not_to(store: Store) -> None:
    with store.read() as session:
        moves = session.exec(select(MoveRow)).all()
        kinds = {move.kind for move in moves}
        unread = session.exec(select(Message).where(Message.state == "unprocessed")).all()
    assert {"up", "stay", "back", "rest", "override"} <= kinds
    assert all(move.because for move in moves)
    assert unread == []


def test_every_text_kept_to_the_hours(store: Store) -> None:
    with store.read() as session:
        clients = {client.id: client for client in session.exec(select(Client)).all()}
        rows = select(Message).where(Message.kind == "prompt", Message.state == "delivered")
        prompts = session.exec(rows).all()
    days = set()
    for prompt in prompts:
        assert prompt.client_id is not None
        zone = clients[prompt.client_id].time_zone
        local = prompt.created_at.astimezone(ZoneInfo(zone))
        assert 8 <= local.hour < 21
        days.add((prompt.client_id, prompt.local_date))
    assert len(days) == len(prompts) > 200


def test_replay_finds_no_difference(store: Store) -> None:
    with store.read() as session:
        assert how_many(session) > 700
        assert list(replay(session)) == []


def test_replay_finds_what_was_changed_by_hand(
    demo: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    address = f"sqlite:///{demo}"
    assert main(["replay", "--database", address]) == 0
    store = Store(address)
    with store.write() as session:
        move = session.exec(select(MoveRow).where(MoveRow.kind == "up")).first()
        assert move is not None
        move.kind = "stay"
        session.add(move)
        reply = session.exec(
            select(Message).where(Message.direction == "in", Message.state == "read")
        ).first()
        assert reply is not None
        reply.body = "fell down the stairs"
        session.add(reply)
    store.close()
    assert main(["replay", "--database", address, "--json"]) == 1
    told = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert {line["what"] for line in told} >= {"reading", "move"}


def test_replay_tells_apart_what_an_earlier_version_read_and_decided(
    demo: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    address = f"sqlite:///{demo}"
    store = Store(address)
    with store.write() as session:
        move = session.exec(select(MoveRow).where(MoveRow.kind == "up")).first()
        reply = session.exec(
            select(Message).where(Message.direction == "in", Message.state == "read")
        ).first()
        assert move is not None
        assert reply is not None
        move.because, move.rule_version = "As the rule was then.", move.rule_version - 1
        reply.body, reply.reader_version = "hm hm", READER_VERSION - 1
        session.add_all((move, reply))
    store.close()
    assert main(["replay", "--database", address]) == 0
    told = capsys.readouterr()
    assert told.out == ""
    assert "2 made by an earlier version would come out otherwise now." in told.err


def test_forward_plays_on_and_prints_what_happens(
    demo: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = _texts(demo)
    assert main(["demo", "forward", "--days", "2", "--file", str(demo)]) == 0
    printed = capsys.readouterr().out
    assert _texts(demo) > before
    assert "Ada" in printed
    assert "in the demo." in printed
    store = Store(f"sqlite:///{demo}")
    with store.read() as session:
        assert list(replay(session)) == []


def _texts(file: Path) -> int:
    store = Store(f"sqlite:///{file}")
    with store.read() as session:
        count = len(session.exec(select(Message.id)).all())
    store.close()
    return count


def test_the_demos_evidence_is_whole_as_it_stands_and_after_its_days_are_sealed(
    demo: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """As the README has it: `rungwise audit verify`, exit status 0."""
    address = f"sqlite:///{demo}"
    assert main(["audit", "--database", address, "verify"]) == 0
    assert "whole, with 0 days of clients compared." in capsys.readouterr().out
    store = Store(address)
    assert seal_days(store, AheadClock(store).now()) >= 27
    store.close()
    assert main(["audit", "--database", address, "verify"]) == 0
    assert re.search(r"whole, with \d{3,} days of clients compared\.", capsys.readouterr().out)


def test_a_real_practice_cannot_be_moved_on(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "real.sqlite3"
    store = Store(f"sqlite:///{file}")
    migrate(store)
    with store.write() as session:
        session.add(Practice(name="Real", phone="+12025550100", created_at=NOW))
    store.close()
    assert main(["demo", "forward", "--days", "1", "--file", str(file)]) == 2
    assert "no demo" in capsys.readouterr().err
    assert main(["try", "--load-only", "--file", str(file)]) == 2
    assert "real practice" in capsys.readouterr().err


def test_every_scripted_word_belongs_to_someone_in_the_cast() -> None:
    people = cast()
    for act in people.acts:
        assert act.client in people.parts
        assert act.trainer in {trainer["key"] for trainer in people.trainers}
