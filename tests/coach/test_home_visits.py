"""Visits: planned, done in one press, on the round's sheet, and in the calendar that is read."""

from datetime import UTC, date, datetime, timedelta

import pytest
from icalendar import Calendar
from sqlmodel import select

from rungwise.coach.reviews.calendar import calendar_at, new_address
from rungwise.coach.reviews.home_visits import (
    NewVisit,
    call_off,
    plan_visit,
    visited,
    visits_between,
    visits_to,
)
from rungwise.coach.reviews.retests import last_reviews, reviews_due
from rungwise.coach.reviews.round_sheet import sheets, to_measure
from rungwise.errors import ImpossibleValue
from rungwise.store.queries.banner_counts import Scope
from rungwise.store.tables import Client, HomeVisit

TODAY = date(2026, 3, 2)
HERE = "https://balance.example.org"


def plan(world, trainer, day: date = TODAY, **more: str) -> int:
    with world.store.write() as session:
        client = session.get_one(Client, world.client_id)
        new = NewVisit(day=day.isoformat(), **more)
        return plan_visit(session, world.clock.now(), trainer, client, new).id


def press(world, trainer) -> int:
    with world.store.write() as session:
        client = session.get_one(Client, world.client_id)
        return visited(session, world.clock.now(), trainer, client).id


def visits(world) -> list[HomeVisit]:
    with world.store.read() as session:
        return list(visits_to(session, world.client_id, 10))


def events(world, trainer) -> list:
    with world.store.write() as session:
        token = new_address(session, world.clock.now(), trainer)
    with world.store.read() as session:
        read = calendar_at(session, world.clock.now(), token, HERE)
    assert all(len(line) <= 75 for line in read.split(b"\r\n"))
    return list(Calendar.from_ical(read).events)


def test_a_visit_is_planned_with_the_address(world, trainer):
    plan(world, trainer, TODAY + timedelta(days=2), begins="9:30", address=" 4 Mill  Lane ")
    (one,) = visits(world)
    assert (one.day, one.begins, one.done_at) == (TODAY + timedelta(days=2), "09:30", None)
    assert world.client.address == "4 Mill Lane"


@pytest.mark.parametrize("day", [TODAY - timedelta(days=1), TODAY + timedelta(days=400)])
def test_a_visit_is_planned_from_today_for_a_year(world, trainer, day):
    with pytest.raises(ImpossibleValue):
        plan(world, trainer, day)


def test_one_press_marks_the_planned_visit_done_and_a_second_changes_nothing(world, trainer):
    planned = plan(world, trainer)
    assert press(world, trainer) == press(world, trainer) == planned
    (one,) = visits(world)
    assert (one.day, one.done_at) == (TODAY, world.clock.now())


def test_one_press_keeps_a_visit_that_nobody_planned(world, trainer):
    press(world, trainer)
    (one,) = visits(world)
    assert one.done_at is not None
    world.clock.advance(timedelta(days=1))
    press(world, trainer)
    assert [one.day for one in visits(world)] == [TODAY + timedelta(days=1), TODAY]


def test_a_visit_planned_for_later_is_not_taken_for_todays(world, trainer):
    later = plan(world, trainer, TODAY + timedelta(days=3))
    assert press(world, trainer) != later
    with world.store.read() as session:
        assert session.get_one(HomeVisit, later).done_at is None


def test_a_visit_is_a_review_and_frees_nobody(world, trainer):
    world.tick()
    world.reply("I fell")
    assert world.client.state == "resting"
    world.clock.advance(timedelta(days=50))
    press(world, trainer)
    with world.store.read() as session:
        client = session.get_one(Client, world.client_id)
        day = TODAY + timedelta(days=50)
        assert last_reviews(session, [client]) == {client.id: day}
        assert reviews_due(session, [client]) == {client.id: day + timedelta(weeks=6)}
    assert world.client.state == "resting"


def test_called_off_it_is_gone_from_lists_and_calendar(world, trainer):
    planned = plan(world, trainer, TODAY + timedelta(days=1))
    with world.store.write() as session:
        call_off(session, world.clock.now(), trainer, session.get_one(HomeVisit, planned))
    assert visits(world) == []
    assert [event["SUMMARY"] for event in events(world, trainer)] == ["Retest or call: Ada"]
    with world.store.read() as session:
        assert len(session.exec(select(HomeVisit)).all()) == 1


def test_the_calendar_has_the_hour_in_utc_and_nothing_of_anybody_but_a_first_name(world, trainer):
    """Read by another library; DTSTART in UTC with DURATION as RFC 5545, 3.6.1, has them."""
    plan(
        world,
        trainer,
        TODAY + timedelta(days=2),
        begins="09:30",
        note="sore knee",
        address="4 Mill",
    )
    visit, _review = events(world, trainer)
    # 09:30 in New York, in winter.
    assert visit.start == datetime(2026, 3, 4, 14, 30, tzinfo=UTC)
    assert visit["DURATION"].dt == timedelta(hours=1)
    assert str(visit["SUMMARY"]) == "Visit: Ada"
    assert "knee" not in visit.to_ical().decode()
    assert "Mill" not in visit.to_ical().decode()


def test_a_visit_without_an_hour_takes_the_day_and_keeps_its_uid_when_done(world, trainer):
    plan(world, trainer)
    before, *_ = events(world, trainer)
    press(world, trainer)
    after, *_ = events(world, trainer)
    assert (before.start, before.end) == (TODAY, TODAY + timedelta(days=1))
    assert before["UID"] == after["UID"]
    assert str(after["SUMMARY"]) == "Visit: Ada (done)"


def test_visits_come_by_day_and_hour(world, trainer):
    plan(world, trainer, TODAY + timedelta(days=1))
    plan(world, trainer, TODAY + timedelta(days=1), begins="15:00")
    plan(world, trainer, TODAY, begins="16:00")
    with world.store.read() as session:
        scope = Scope(trainer.practice_id, trainer.id)
        found = visits_between(session, scope, TODAY, TODAY + timedelta(days=1))
    assert [(one.day - TODAY, one.begins) for one, _ in found] == [
        (timedelta(0), "16:00"),
        (timedelta(days=1), "15:00"),
        (timedelta(days=1), None),
    ]


def test_the_sheet_says_what_to_look_at(world, trainer):
    world.tick()
    world.reply("I fell")
    with world.store.read() as session:
        (sheet,) = sheets(session, world.clock.now(), [session.get_one(Client, world.client_id)])
    assert sheet.rung is not None
    assert sheet.alerts == ("fall",)
    assert any("fall" in says.lower() for says in sheet.look_at)


@pytest.mark.parametrize(
    ("body", "last", "due", "wanted"),
    [
        ({}, {}, False, ()),
        ({}, {}, True, ("Four-stage balance test: none yet.",)),
        (
            {"estimated": True},
            {},
            False,
            ("Feet and hips: guessed so far. Foot length and breadth, hip width.",),
        ),
        (
            {},
            {"tug": date(2026, 2, 1), "four_stage": date(2026, 1, 3)},
            True,
            (
                "Four-stage balance test: last on 3 Jan 2026.",
                "Timed Up and Go: last on 1 Feb 2026.",
            ),
        ),
    ],
)
def test_what_to_measure(body, last, due, wanted):
    assert to_measure(body, last, due=due) == wanted
