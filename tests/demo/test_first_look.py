"""The first look: the demo is served while its weeks are played, and opens signed in, once."""

import re
from datetime import UTC, datetime, timedelta
from importlib import import_module
from pathlib import Path

import pytest
from sqlmodel import select
from starlette.testclient import TestClient

from rungwise.app import create_app
from rungwise.cli import main
from rungwise.clock import AheadClock
from rungwise.demo.load import begin_demo
from rungwise.parts import assemble
from rungwise.settings import Settings
from rungwise.store import Store
from rungwise.store.moving.migrate import migrate
from rungwise.store.tables import DemoClock, Message, Practice
from rungwise.web.account.first_look import PATH, add_first_look

is_ready = import_module("rungwise.commands.try").is_ready


@pytest.fixture
def begun(tmp_path: Path) -> Path:
    """A demo of which nothing has been played yet."""
    file = tmp_path / "demo.sqlite3"
    store = Store(f"sqlite:///{file}")
    migrate(store)
    begin_demo(store, datetime.now(UTC))
    store.close()
    return file


def settings(file: Path) -> Settings:
    return Settings(database_url=f"sqlite:///{file}", ticks=False)


def test_the_link_signs_in_once_and_nobody_else(begun: Path) -> None:
    app = create_app(parts=assemble(settings(begun)))
    link = add_first_look(app)
    with TestClient(app, base_url="http://127.0.0.1:8780") as wrong:
        answer = wrong.get(f"{PATH}not-the-word", follow_redirects=False)
        assert (answer.status_code, answer.headers["location"]) == (303, "/sign-in")
    with TestClient(app, base_url="http://127.0.0.1:8780") as first:
        page = first.get(link)
        assert page.status_code == 200
        assert 'action="/sign-out"' in page.text
    with TestClient(app, base_url="http://127.0.0.1:8780") as second:
        assert 'action="/sign-out"' not in second.get(link).text


def test_the_page_says_how_far_the_play_is(begun: Path) -> None:
    parts = assemble(settings(begun))
    app = create_app(parts=parts)
    with TestClient(app, base_url="http://127.0.0.1:8780") as browser:
        page = browser.get(add_first_look(app)).text
        assert "0% of the practice's first four weeks are played" in page
        with parts.store.read() as session:
            start = session.exec(select(Practice.created_at)).one()
        AheadClock(parts.store).set(start + (datetime.now(UTC) - start) / 2)
        assert re.search(r"(49|50)% of the practice", browser.get("/").text)
        with parts.store.write() as session:
            session.get_one(DemoClock, 1).ahead_s = 0.0
        assert "of the practice's first four weeks" not in browser.get("/").text


def test_a_play_that_was_cut_off_starts_over(
    begun: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert not is_ready(begun)
    assert main(["try", "--load-only", "--file", str(begun)]) == 0
    assert is_ready(begun)
    said = capsys.readouterr()
    assert "The demo is ready" in said.out
    # No terminal here: plain lines and no bar.
    told = "Playing four weeks of the invented practice: "
    lines = said.err.splitlines()
    assert lines == [f"{told}{tenth}0%" for tenth in range(1, 1 + len(lines))]
    assert len(lines) >= 9
    store = Store(f"sqlite:///{begun}")
    with store.read() as session:
        assert len(session.exec(select(Message.id)).all()) > 300
        assert AheadClock(store).share_played() is None
        assert abs(AheadClock(store).now() - datetime.now(UTC)) < timedelta(seconds=1)
    store.close()

    assert main(["try", "--load-only", "--file", str(begun)]) == 0
    assert capsys.readouterr().err == ""
