"""The weekly text: true and kind, or none."""

from datetime import date, datetime, timedelta

import pytest
from sqlmodel import select

from rungwise.coach.daily.weekly import Week, set_weekly, weekly_name
from rungwise.ladder.day import DayReport, SideHold
from rungwise.store.tables import Client, Due

MONDAY = date(2026, 3, 2)


def report(day: int, **told) -> DayReport:
    return DayReport(MONDAY + timedelta(days=day), "rung", (SideHold(20.0),), **told)


@pytest.mark.parametrize(
    ("days", "moves", "name"),
    [
        (0, (), None),
        (1, ("stay",), "weekly_some"),
        (2, ("stay", "up"), "weekly_some"),
        (3, ("stay",), "weekly_enough"),
        (6, ("stay", "up"), "weekly_onward"),
        (6, ("up", "back", "up"), "weekly_enough"),
        (6, ("up", "rest"), None),
    ],
)
def test_which_text_is_true(days, moves, name):
    week = Week(tuple(report(day) for day in range(days)), moves)
    assert weekly_name(week) == name


@pytest.mark.parametrize(
    "told",
    [
        {"fall": "yes"},
        {"fall": "unsure"},
        {"pain": "yes"},
        {"dizzy": "unsure"},
        {"emergency": True},
    ],
)
def test_no_cheer_in_a_week_with_a_sign(told):
    week = Week((report(0), report(1), report(2), report(3, **told)), ("up",))
    assert weekly_name(week) is None


def test_only_practice_is_counted():
    only_an_answer = DayReport(MONDAY, "rung")
    week = Week((report(0), report(1), report(2, skipped=True), only_an_answer), ())
    assert week.practised == 2
    assert weekly_name(week) == "weekly_some"


@pytest.fixture
def wanted(world, trainer):
    with world.store.write() as session:
        client = session.get_one(Client, world.client_id)
        set_weekly(session, world.clock.now(), trainer, client, True)
    return world


def week_of(world, *replies: str) -> None:
    """Monday to Saturday, with a reply on the first days."""
    world.tick()
    for number in range(6):
        world.clock.set(datetime.fromisoformat(f"2026-03-0{2 + number}T09:00:00-05:00"))
        world.tick()
        if number < len(replies):
            world.reply(replies[number])


def sunday(world, time: str = "16:00") -> None:
    world.clock.set(datetime.fromisoformat(f"2026-03-08T{time}:00-04:00"))
    world.tick()


def test_it_goes_on_sunday_afternoon_with_the_days_practised(wanted):
    week_of(wanted, "20 steady", "20 steady", "20 wobbly", "skipped")
    sunday(wanted, "15:59")
    assert wanted.sent("weekly") == []
    sunday(wanted)
    (text,) = wanted.sent("weekly")
    assert text.body == (
        "Ada, this week you practised on 3 days, and steadily enough to take a small step on. "
        "Thank you for making the time."
    )
    sunday(wanted, "17:00")
    assert len(wanted.sent("weekly")) == 1


def test_the_next_one_is_due_a_week_later(wanted):
    week_of(wanted, "20 steady")
    sunday(wanted)
    wanted.clock.set(datetime.fromisoformat("2026-03-11T09:00:00-04:00"))
    wanted.tick()
    wanted.reply("20 steady")
    wanted.clock.set(datetime.fromisoformat("2026-03-15T16:00:00-04:00"))
    wanted.tick()
    assert [text.local_date.day for text in wanted.sent("weekly")] == [8, 15]


def test_it_is_not_sent_to_who_did_not_want_it(world):
    week_of(world, "20 steady", "20 steady", "20 steady")
    sunday(world)
    assert world.sent("weekly") == []


def test_nothing_goes_after_a_fall_nor_while_resting(wanted):
    week_of(wanted, "20 steady", "20 steady", "20 steady", "I fell")
    sunday(wanted)
    assert wanted.sent("weekly") == []


def test_nothing_goes_while_a_doubt_is_open(wanted):
    week_of(wanted, "20 steady", "20 steady", "20 steady", "20 steady, nearly fell over")
    sunday(wanted)
    assert wanted.sent("weekly") == []


def test_nothing_goes_after_stop_or_when_no_longer_wanted(wanted, trainer):
    week_of(wanted, "20 steady", "20 steady", "20 steady", "STOP")
    sunday(wanted)
    assert wanted.sent("weekly") == []
    with wanted.store.write() as session:
        client = session.get_one(Client, wanted.client_id)
        set_weekly(session, wanted.clock.now(), trainer, client, False)
    with wanted.store.read() as session:
        assert session.exec(select(Due).where(Due.kind == "weekly")).all() == []


def test_one_that_comes_too_late_is_left_out(wanted):
    week_of(wanted, "20 steady", "20 steady", "20 steady")
    sunday(wanted, "18:05")
    assert wanted.sent("weekly") == []
