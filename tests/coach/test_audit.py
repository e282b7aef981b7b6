"""The audit trail: every line follows from the one before, on both stores."""

from datetime import UTC, datetime

import pytest
from sqlalchemy import delete, update
from sqlmodel import col, select

from rungwise.cli import main
from rungwise.coach.enrolment.clients import add_trainer
from rungwise.coach.plan.placement import pause, resume_paused
from rungwise.coach.record.audit import broken_at, record
from rungwise.coach.record.situation import load
from rungwise.store import Store
from rungwise.store.moving.migrate import migrate
from rungwise.store.tables import Audit, Client, Practice

START = datetime(2026, 3, 2, 13, 0, tzinfo=UTC)


@pytest.fixture
def trail(world, trainer):
    """A few lines of real work."""
    for act in (pause, resume_paused, pause):
        with world.store.write() as session:
            situation = load(session, session.get_one(Client, world.client_id))
            act(session, world.clock.now(), trainer, situation)
    with world.store.write() as session:
        record(session, world.clock.now(), trainer, "looked", client_id=1, words="äöü", n=1.5)
    return world


def found(world):
    with world.store.read() as session:
        return broken_at(session, session.exec(select(Practice)).one())


def test_a_trail_nobody_touched_is_whole(trail):
    assert found(trail) is None
    with trail.store.read() as session:
        lines = session.exec(select(Audit).order_by(col(Audit.number))).all()
    assert [line.number for line in lines] == list(range(1, len(lines) + 1))
    assert [line.action for line in lines][-4:] == ["pause", "resume", "pause", "looked"]


@pytest.mark.parametrize(
    "change",
    [
        {"action": "nothing"},
        {"trainer_id": None},
        {"client_id": 99},
        {"detail": {"rung": "other"}},
        {"hash": "0" * 64},
    ],
)
def test_a_changed_line_is_found(trail, change):
    with trail.store.write() as session:
        session.execute(update(Audit).where(col(Audit.number) == 2).values(**change))
    assert found(trail)[0] == 2


def test_a_missing_line_is_found(trail):
    with trail.store.write() as session:
        session.execute(delete(Audit).where(col(Audit.number) == 2))
    assert found(trail) == (2, "line 2 is missing")


def test_the_command_says_so_and_exits_1(tmp_path, capsys):
    url = f"sqlite:///{tmp_path / 'audit.sqlite3'}"
    store = Store(url)
    migrate(store)
    with store.write() as session:
        practice = Practice(name="Harbour", phone="+12025550100", created_at=START)
        session.add(practice)
        session.flush()
        trainer = add_trainer(session, START, practice, "T", "t@example.org", "a long password")
        for action in ("one", "two"):
            record(session, START, trainer, action)
    assert main(["audit", "--database", url, "verify"]) == 0
    assert "whole" in capsys.readouterr().out
    with store.write() as session:
        session.execute(delete(Audit).where(col(Audit.number) == 1))
    store.close()
    assert main(["audit", "--database", url, "verify"]) == 1
    assert "line 1 is missing" in capsys.readouterr().out
