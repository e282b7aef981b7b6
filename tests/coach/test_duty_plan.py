"""The duty plan as a week: gaps, overlaps, hours past midnight, and who may change it."""

from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlmodel import col, select

from rungwise.coach.alerting.duty import (
    DAY,
    WEEK,
    Hours,
    Stretch,
    duty_plan,
    gaps,
    hours_of,
    on_duty_at,
    overlaps,
    overnight,
    stretch_at,
    stretches,
)
from rungwise.coach.practice.duty_plan import change_duty_plan
from rungwise.coach.record.access import OnlyTheLead
from rungwise.errors import ImpossibleValue
from rungwise.store.tables import Audit, Duty, Practice, Trainer

MONDAY = datetime(2026, 3, 2, 5, 0, tzinfo=UTC)  # Monday 00:00 in New York (tz database)
NINE, FIVE = 9 * 60, 17 * 60

minutes = st.integers(0, DAY - 1)
spans = st.tuples(st.integers(0, 6), minutes, st.integers(1, DAY), st.integers(1, 3)).filter(
    lambda one: one[1] < one[2]
)
plans = st.lists(spans.map(lambda one: Hours(*one)), max_size=12)


def working_week(who: int = 1) -> list[Hours]:
    return [Hours(day, NINE, FIVE, who) for day in range(5)]


def test_a_working_week_leaves_nights_and_the_weekend() -> None:
    found = gaps(working_week())
    assert found[0] == Stretch(FIVE, DAY + NINE)
    assert found[-1] == Stretch(4 * DAY + FIVE, WEEK + NINE), "Friday evening to Monday morning"
    assert len(found) == 5


def test_everybody_all_week_has_no_gap() -> None:
    whole = [Hours(day, 0, DAY, 1) for day in range(7)]
    assert gaps(whole) == []
    assert stretches(whole) == [Stretch(0, WEEK, (1,))]


def test_overlaps_name_everybody_in_them() -> None:
    found = overlaps([*working_week(), Hours(0, 16 * 60, 20 * 60, 2)])
    assert found == [Stretch(16 * 60, FIVE, (1, 2))]


@given(plans)
def test_the_stretches_cover_every_minute_of_the_week_once(plan: list[Hours]) -> None:
    found = stretches(plan)
    assert sum(one.ends - one.begins for one in found) == WEEK
    assert all(one.begins < one.ends for one in found)
    for one, after in pairwise(found):
        assert one.ends == after.begins
        assert one.who != after.who
    assert found[-1].ends - found[0].begins == WEEK


@given(plans, st.integers(0, WEEK - 1))
def test_a_stretch_says_who_is_paged_at_each_of_its_minutes(plan: list[Hours], minute: int) -> None:
    """The page and the paging read the same plan in ways of their own, and agree."""
    rows = [
        Duty(
            practice_id=1,
            trainer_id=one.trainer_id,
            weekday=one.weekday,
            begins=f"{one.begins // 60:02}:{one.begins % 60:02}",
            ends="23:59" if one.ends == DAY else f"{one.ends // 60:02}:{one.ends % 60:02}",
        )
        for one in plan
    ]
    # A plan that ends at 23:59 cannot be told from one that ends at midnight, by design.
    plan = [Hours(o.weekday, o.begins, DAY if o.ends == DAY - 1 else o.ends, o.trainer_id)
            for o in plan]  # fmt: skip
    at = MONDAY + timedelta(minutes=minute)
    found = stretch_at(plan, at, "America/New_York")
    expected = on_duty_at(rows, at, "America/New_York")
    if at < datetime(2026, 3, 8, 7, 0, tzinfo=UTC):  # the clocks change on that Sunday
        assert set(found.who) == expected
    assert hours_of(rows) == sorted(plan)


@pytest.mark.parametrize(
    ("begins", "ends", "expected"),
    [
        (NINE, FIVE, [Hours(6, NINE, FIVE, 1)]),
        (NINE, 0, [Hours(6, NINE, DAY, 1)]),
        (0, 0, [Hours(6, 0, DAY, 1)]),
        (22 * 60, 7 * 60, [Hours(6, 22 * 60, DAY, 1), Hours(0, 0, 7 * 60, 1)]),
    ],
)
def test_hours_as_people_say_them(begins: int, ends: int, expected: list[Hours]) -> None:
    assert overnight(6, begins, ends, 1) == expected


@pytest.mark.parametrize(
    ("day", "begins", "ends", "told"),
    [
        (7, 0, 60, "weekday is 7"),
        (-1, 0, 60, "weekday is -1"),
        (0, NINE, NINE, "09:00"),
        (0, 59, 59, "00:59"),
        (0, -1, 60, "-1 to 60"),
        (0, 60, -1, "60 to -1"),
        (0, DAY, 60, "1440 to 60"),
        (0, 60, DAY + 1, "60 to 1441"),
    ],
)
def test_hours_that_cannot_be_are_refused(day: int, begins: int, ends: int, told: str) -> None:
    with pytest.raises(ImpossibleValue, match=told):
        overnight(day, begins, ends, 1)


def test_hours_at_the_edges_of_a_day_and_of_the_week_can_be() -> None:
    assert overnight(0, 0, 1, 1) == [Hours(0, 0, 1, 1)]
    assert overnight(0, DAY - 1, DAY, 1) == [Hours(0, DAY - 1, DAY, 1)]
    assert overnight(6, NINE, DAY, 1) == [Hours(6, NINE, DAY, 1)]


NIGHT = [Hours(6, 22 * 60, DAY, 1), Hours(0, 0, 7 * 60, 1), Hours(0, 7 * 60, DAY, 2)]


@pytest.mark.parametrize(
    ("minute", "who"),
    [
        (0, (1,)),
        (7 * 60 - 1, (1,)),
        (7 * 60, (2,)),
        (8 * 60, (2,)),
        (DAY - 1, (2,)),
        (DAY, ()),
        (6 * DAY + 22 * 60 - 1, ()),
        (6 * DAY + 22 * 60, (1,)),
    ],
)
def test_a_night_over_the_end_of_the_week_is_found_from_both_sides(minute: int, who) -> None:
    found = stretch_at(NIGHT, MONDAY - timedelta(weeks=1) + timedelta(minutes=minute), "Etc/GMT+5")
    assert found.who == who


def test_two_stretches_with_the_same_people_at_both_ends_of_the_week_are_one() -> None:
    assert stretches([Hours(0, 0, NINE, 1)]) == [Stretch(0, NINE, (1,)), Stretch(NINE, WEEK)]
    found = stretches([Hours(0, NINE, FIVE, 1)])
    assert found == [Stretch(NINE, FIVE, (1,)), Stretch(FIVE, WEEK + NINE)]


@pytest.fixture
def lead(world) -> Trainer:
    with world.store.write() as session:
        practice = session.exec(select(Practice)).one()
        made = Trainer(
            practice_id=practice.id,
            name="Lena Lead",
            email="lead@example.org",
            password_hash="none",
            role="lead",
            created_at=world.clock.now(),
        )
        session.add(made)
    return made


def stored(world) -> list[Hours]:
    with world.store.read() as session:
        return hours_of(duty_plan(session, session.exec(select(Practice)).one()))


def test_the_lead_replaces_the_whole_plan_and_it_is_on_record(world, lead) -> None:
    for plan in (working_week(lead.id), overnight(6, 22 * 60, 7 * 60, world.trainer_id)):
        with world.store.write() as session:
            change_duty_plan(session, world.clock.now(), lead, plan)
        assert stored(world) == sorted(plan)
    with world.store.read() as session:
        rows = select(Audit).where(Audit.action == "duty plan").order_by(col(Audit.id))
        lines = session.exec(rows).all()
    assert lines[-1].detail["hours"] == [
        [world.trainer_id, 6, "22:00", "24:00"],
        [world.trainer_id, 0, "00:00", "07:00"],
    ]


def test_nobody_else_may_and_nobody_from_elsewhere_is_on_it(world, lead, trainer) -> None:
    with world.store.write() as session, pytest.raises(OnlyTheLead):
        change_duty_plan(session, world.clock.now(), trainer, working_week(trainer.id))
    with world.store.write() as session, pytest.raises(ImpossibleValue):
        change_duty_plan(session, world.clock.now(), lead, working_week(999))
    assert stored(world) == []
