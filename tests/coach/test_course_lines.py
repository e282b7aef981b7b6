"""A line on each course, looked at once a day and kept for the day's page."""

from datetime import timedelta

import pytest
from sqlmodel import select

from rungwise.coach.record.codec import report_to_json
from rungwise.coach.reviews.course_lines import lines_in, look_again
from rungwise.coach.reviews.retests import record_call
from rungwise.ladder.day import DayReport, SideHold
from rungwise.store.queries.banner_counts import Scope
from rungwise.store.tables import Client, CourseLine, MoveRow, Report, Trainer


@pytest.fixture
def worse(world):
    """Steady for five weeks on one rung, and then not any more."""
    world.clock.advance(timedelta(days=60))
    told = ["steady"] * 36 + ["wobbly", "short", "far_short"] * 2
    held_s = {"steady": 20.0, "wobbly": 20.0, "short": 14.0, "far_short": 6.0}
    with world.store.write() as session:
        key = world.situation.placement.rung_key
        for back, verdict in zip(range(len(told), 0, -1), told, strict=True):
            at = world.clock.now() - timedelta(days=back)
            how = "steady" if verdict == "steady" else "wobbly"
            report = DayReport(at.date(), key, (SideHold(held_s[verdict]),), how)
            row = Report(
                client_id=world.client_id, local_date=at.date(), rung_key=key, message_ids=[],
                told=report_to_json(report), created_at=at,
            )  # fmt: skip
            session.add(row)
            session.flush()
            session.add(
                MoveRow(
                    client_id=world.client_id, local_date=at.date(), report_id=row.id, kind="stay",
                    from_key=key, to_key=key, rule="gathering", because=".", alerts=[],
                    facts={"verdict": verdict, "target_s": 20}, rule_version=1, plan_version=1,
                    decided_at=at,
                )
            )  # fmt: skip
    return world


def lines(world) -> list[str]:
    with world.store.read() as session:
        client = session.get_one(Client, world.client_id)
        return [says for _, says in lines_in(session, Scope(client.practice_id, None), 9)]


def test_a_client_is_looked_at_once_a_day(worse):
    assert lines(worse) == []
    assert look_again(worse.store, worse.clock.now()) == 1
    assert look_again(worse.store, worse.clock.now()) == 0
    (line,) = lines(worse)
    assert line.startswith("Much worse at once since about ")
    worse.clock.advance(timedelta(days=1))
    assert look_again(worse.store, worse.clock.now()) == 1
    with worse.store.read() as session:
        assert len(session.exec(select(CourseLine)).all()) == 1


def test_a_call_takes_the_line_away_and_who_rests_has_none(worse):
    look_again(worse.store, worse.clock.now())
    with worse.store.write() as session:
        session.get_one(Client, worse.client_id).state = "resting"
    assert lines(worse) == []
    with worse.store.write() as session:
        client = session.get_one(Client, worse.client_id)
        client.state = "active"
        trainer = session.get_one(Trainer, client.trainer_id)
        record_call(session, worse.clock.now(), trainer, client, "Rang: a cold, and better now")
    assert lines(worse) == []
    assert look_again(worse.store, worse.clock.now()) == 1
    assert "Much worse" not in "".join(lines(worse))
