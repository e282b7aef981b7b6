"""`rungwise told`: a day told by phone, from the command line."""

from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlmodel import select
from test_client_command import add, address, practice  # noqa: F401  # fixtures

from rungwise.cli import main
from rungwise.store import Store
from rungwise.store.tables import Alert, Client, Message, Report


@pytest.fixture
def ada(tmp_path: Path, practice: Store) -> Store:  # noqa: F811  # the fixture
    assert main(add(tmp_path)) == 0
    return practice


def told(*more: str) -> int:
    today = datetime.now(UTC).date().isoformat()
    return main(["told", "1", "--trainer", "tess@example.org", "--day", today, *more])


def count(store: Store, table: type) -> int:
    with store.read() as session:
        return len(session.exec(select(table)).all())


def test_a_day_is_looked_at_and_then_stored(ada: Store, capsys: pytest.CaptureFixture[str]) -> None:
    assert told("--held", "20", "--steady", "--look") == 0
    assert "Nothing was stored." in capsys.readouterr().out
    assert count(ada, Report) == 0
    assert told("--held", "20", "--steady", "--by", "visit") == 0
    assert "Held 20 s, steady." in capsys.readouterr().out
    assert count(ada, Report) == 1
    assert told("--sign", "fall", "--sign", "pain", "--place", "hip") == 0
    shown = capsys.readouterr().out
    assert "A fall, pain: hip." in shown
    assert "alert: fall" in shown
    assert count(ada, Alert) >= 2
    with ada.read() as session:
        rows = session.exec(select(Message).where(Message.direction == "told")).all()
        client = session.exec(select(Client)).one()
    assert sorted(row.kind for row in rows) == ["phone", "visit"]
    assert client.state == "invited"  # who has not begun is not made to rest, only told of


def test_what_cannot_be_says_why(ada: Store, capsys: pytest.CaptureFixture[str]) -> None:
    for more, why in (
        (("--held", "twenty"), "held: It holds 'twenty'"),
        (("--day", "yesterday"), "a date such as"),
        (("--day", "2020-01-01", "--held", "20"), "the last two weeks"),
        ((), "seconds held"),
        (("--skipped", "--text-client"), "gets no texts"),
        (("--trainer", "nobody@example.org", "--skipped"), "no trainer"),
    ):
        assert told(*more) == 2
        assert why in capsys.readouterr().err
    assert count(ada, Report) == 0
