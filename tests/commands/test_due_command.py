"""`rungwise due`: what it says would go out is what then goes out."""

import json
from collections.abc import Iterator
from datetime import UTC, datetime, time, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlmodel import col, select

from rungwise.carriers.handset import Handset
from rungwise.cli import main
from rungwise.clock import HandClock
from rungwise.coach.daily.outlook import ELSE, outlook
from rungwise.coach.enrolment.clients import NewClient, add_client
from rungwise.coach.record.codec import PlanSettings
from rungwise.ladder.body import Body, Profile
from rungwise.store import Store
from rungwise.store.moving.migrate import migrate
from rungwise.store.tables import Alert, Client, Due, Message, Practice, Trainer
from rungwise.ticks.jobs import HANDLERS, due_tick, send_tick

START = datetime(2026, 3, 2, 13, 0, tzinfo=UTC)  # a Monday, 08:00 in New York
PROFILE = Profile(Body(foot_length_mm=246, foot_breadth_mm=93, hip_width_mm=177))
CARRIERS = {"handset": Handset("x" * 20)}


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Store]:
    """Ada gets texts at 9 on three days a week; Bo, resting, daily at 10; Cy reminds himself."""
    url = f"sqlite:///{tmp_path / 'due.sqlite3'}"
    monkeypatch.setenv("RUNGWISE_DATABASE_URL", url)
    store = Store(url)
    migrate(store)
    with store.write() as session:
        practice = Practice(name="Harbour Balance", phone="+12025550100", created_at=START)
        session.add(practice)
        session.flush()
        trainer = Trainer(
            practice_id=practice.id, name="Tess Example", email="t@example.org",
            password_hash="none", phone="+12025550101", created_at=START,
            page_answered_at=START,
        )  # fmt: skip
        session.add(trainer)
        session.flush()
        plans = {
            "Ada": PlanSettings(weekdays=frozenset({0, 2, 4})),
            "Cy": PlanSettings(reminder_at=time(18)),
        }
        for number, called in enumerate(("Ada", "Bo", "Cy")):
            new = NewClient(
                name=f"{called} Sample", called=called, phone=f"+1202555011{number}",
                profile=PROFILE, time_zone="America/New_York", agreed=True,
                settings=plans.get(called, PlanSettings()),
            )  # fmt: skip
            add_client(session, START, trainer, new)
        bo = session.exec(select(Client).where(col(Client.id) == 2)).one()
        bo.state = "resting"
        session.add(bo)
    while send_tick(store, CARRIERS, HandClock(START)):
        pass
    yield store
    store.close()


def told(store: Store, until: datetime, now: datetime = START) -> list[tuple[Any, ...]]:
    with store.read() as session:
        return [
            (each.at, each.kind, each.client_id, each.would)
            for each in outlook(session, now, until)
            if each.kind in ("prompt", "reminder")
        ]


def test_a_week_ahead_is_what_a_week_brings(here: Store) -> None:
    """The same texts at the same minutes as when the service then runs through that week."""
    until = START + timedelta(days=6)
    promised = [
        (at, kind, client)
        for at, kind, client, would in told(here, until)
        if would == "text" and kind == "prompt"
    ]
    clock = HandClock(START)
    while clock.now() < until:
        clock.advance(timedelta(minutes=30))
        due_tick(here, clock)
        send_tick(here, CARRIERS, clock)
    with here.read() as session:
        rows = select(Message).where(Message.kind == "prompt", Message.state == "delivered")
        came = [(each.created_at, each.kind, each.client_id) for each in session.exec(rows).all()]
    assert len(promised) == 10  # three for Ada, seven for Cy over a change of clocks, none for Bo
    assert sorted(promised) == sorted(came)


def test_every_kind_of_thing_that_comes_due_is_told(here: Store) -> None:
    assert set(ELSE) | {"prompt", "reminder", "weekly", "falls"} == set(HANDLERS)
    at = START + timedelta(minutes=1)
    with here.write() as session:
        for kind in ELSE:
            session.add(Due(kind=kind, subject_id=999, at=at))
    with here.read() as session:
        found = {each.kind for each in outlook(session, START, at)}
    assert found >= set(ELSE)


def test_it_changes_nothing(here: Store) -> None:
    def everything() -> list[list[Any]]:
        with here.read() as session:
            return [
                [row.model_dump() for row in session.exec(select(table)).all()]
                for table in (Due, Message, Client, Alert)
            ]

    before = everything()
    assert main(["due", "--at", "2026-03-20T00:00Z", "--json"]) == 0
    assert everything() == before


def test_it_says_why_not(here: Store, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["due", "--at", "2026-03-03", "--json", "--client", "2"]) == 0
    rows = json.loads(capsys.readouterr().out)
    prompts = [row for row in rows if row["kind"] == "prompt"]
    told = [(row["called"], row["text"], row["because"]) for row in prompts]
    assert told == [("Bo", False, "The client is resting.")]


def test_a_reminder_needs_a_missing_report(here: Store) -> None:
    clock = HandClock(START + timedelta(hours=1, minutes=1))
    due_tick(here, clock)
    at = datetime(2026, 3, 2, 23, 0, tzinfo=UTC)  # 18:00 in New York
    assert (at, "reminder", 3, "text") in told(here, at, clock.now())


def test_texts_in_the_outbox_are_listed(here: Store) -> None:
    clock = HandClock(START + timedelta(hours=1, minutes=1))
    due_tick(here, clock)
    with here.read() as session:
        waiting = [each for each in outlook(session, clock.now(), clock.now()) if each.waiting]
    assert {(each.kind, each.client_id, each.would) for each in waiting} == {
        ("prompt", 1, "text"),
        ("prompt", 3, "text"),
    }


def test_lines_for_people(here: Store, capsys: pytest.CaptureFixture[str]) -> None:
    # The command goes by the machine's clock, by which March is long over.
    assert main(["due", "--at", "2026-03-02T15:00-05:00"]) == 0
    out = capsys.readouterr().out
    assert "client 1 (Ada)  prompt: " in out
    assert "The service was down when it was due." in out


def test_what_is_no_moment_is_refused(here: Store, capsys: pytest.CaptureFixture[str]) -> None:
    for given in ("tomorrow", "2099-01-01"):
        assert main(["due", "--at", given]) == 2
        assert f"--at is '{given}'" in capsys.readouterr().err
