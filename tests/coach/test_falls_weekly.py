"""Falls are asked on the calendar: sent, answered, missed, and never where it may not be."""

from datetime import date, datetime, timedelta

import pytest
from screened import unhurt
from sqlmodel import col, select

from rungwise.coach.daily.falls_weekly import set_falls_asked
from rungwise.coach.daily.outlook import outlook
from rungwise.coach.plan.placement import Handling, handle
from rungwise.coach.practice.settings import PracticeForm, change_practice
from rungwise.coach.record.falls import falls_of
from rungwise.coach.record.situation import load
from rungwise.store.tables import Alert, Client, Due, Practice, Question, Trainer

SUNDAY = date(2026, 3, 8)


def at(world, when: str) -> None:
    world.clock.set(datetime.fromisoformat(when))
    world.tick()


def sunday(world, when: str = "2026-03-08T17:00:00-04:00") -> None:
    world.tick()
    at(world, when)


def weeks(world) -> list[Question]:
    with world.store.read() as session:
        rows = select(Question).where(Question.kind == "fall_weekly").order_by(col(Question.id))
        return list(session.exec(rows).all())


def known(world):
    with world.store.read() as session:
        client = session.get_one(Client, world.client_id)
        since = world.clock.now() - timedelta(days=60)
        return falls_of(session, [client], since).get(world.client_id, ())


@pytest.fixture
def asked(world):
    sunday(world)
    return world


def test_the_question_goes_on_sunday_and_a_no_is_kept(asked):
    (text,) = asked.sent("falls")
    assert text.body.startswith("Since Monday, March 2, did you fall?")
    asked.reply("no")
    (week,) = weeks(asked)
    assert (week.since, week.local_date, week.answer) == (date(2026, 3, 2), SUNDAY, "no")
    assert asked.alerts() == {}
    at(asked, "2026-03-15T17:00:00-04:00")
    assert [one.since for one in weeks(asked)] == [date(2026, 3, 2), SUNDAY]


def test_an_answer_that_never_came_stays_missing(asked):
    at(asked, "2026-03-09T17:30:00-04:00")
    (week,) = weeks(asked)
    assert week.answered_at is not None
    assert (week.answer, week.answer_id) == (None, None)
    assert "near_fall" not in asked.alerts()


def test_a_yes_is_a_fall_of_that_week_until_its_day_is_told(asked):
    asked.reply("YES")
    assert asked.alerts()["fall"].urgency == "urgent"
    assert asked.client.state == "resting"
    (fall,) = known(asked)
    assert (fall.first, fall.last) == (date(2026, 3, 2), SUNDAY)
    asked.reply("no, not hurt")
    asked.reply("Wednesday")
    (fall,) = known(asked)
    assert (fall.first, fall.last) == (date(2026, 3, 4), date(2026, 3, 4))
    assert weeks(asked)[0].answer == "yes"


def test_a_day_told_beside_the_yes_is_the_falls(asked):
    asked.reply("yes, on Thursday")
    (fall,) = known(asked)
    assert fall.day == date(2026, 3, 5)


def test_a_bare_number_of_falls_is_a_fall(asked):
    asked.reply("1")
    (fall,) = known(asked)
    assert (fall.first, fall.last) == (date(2026, 3, 2), SUNDAY)


def test_another_fall_of_a_week_with_one_is_another(world):
    world.tick()
    world.pass_time(hours=2)
    world.reply("I fell in the kitchen")
    world.reply("no not hurt")
    at(world, "2026-03-04T09:00:00-05:00")
    with world.store.write() as session:
        client = session.get_one(Client, world.client_id)
        trainer = session.get_one(Trainer, client.trainer_id)
        alert = session.exec(select(Alert).where(Alert.kind == "fall")).one()
        key = world.situation.placement.rung_key
        now = world.clock.now()
        handle(
            session, now, trainer, alert, load(session, client), Handling("ok", "", key, unhurt())
        )
    at(world, "2026-03-08T17:00:00-04:00")
    (text,) = world.sent("falls")
    assert text.body.startswith("Apart from the fall you told us of: since Monday, March 2,")
    world.reply("yes, on Friday")
    assert [fall.day.day for fall in known(world)] == [2, 6]


def test_who_rests_is_not_asked(world):
    world.tick()
    world.pass_time(hours=2)
    world.reply("I fell in the kitchen")
    at(world, "2026-03-08T17:00:00-04:00")
    assert world.sent("falls") == []
    assert weeks(world) == []
    assert len(known(world)) == 1


def test_another_open_question_comes_first(world):
    world.tick()
    at(world, "2026-03-08T16:50:00-04:00")
    world.reply("20")
    at(world, "2026-03-08T17:00:00-04:00")
    assert world.sent("falls") == []
    world.reply("steady")
    at(world, "2026-03-08T18:00:00-04:00")
    assert len(world.sent("falls")) == 1


def test_a_service_that_was_down_does_not_ask_late(world):
    sunday(world, "2026-03-08T20:10:00-04:00")
    assert world.sent("falls") == []
    at(world, "2026-03-15T17:00:00-04:00")
    assert len(world.sent("falls")) == 1


def test_who_does_not_want_it_is_not_asked(world, trainer):
    world.tick()
    with world.store.write() as session:
        client = session.get_one(Client, world.client_id)
        set_falls_asked(session, world.clock.now(), trainer, client, False)
        assert session.exec(select(Due).where(Due.kind == "falls")).all() == []
    at(world, "2026-03-08T17:00:00-04:00")
    assert world.sent("falls") == []


def choose(world, every_weeks: str) -> None:
    with world.store.write() as session:
        client = session.get_one(Client, world.client_id)
        lead = session.get_one(Trainer, client.trainer_id)
        lead.role = "lead"
        given = PracticeForm.of(session.get_one(Practice, client.practice_id))
        form = PracticeForm.read(
            {name: getattr(given, name) for name in given.__slots__}
            | {"falls_every_weeks": every_weeks}
        )
        change_practice(session, world.clock.now(), lead, form)


def test_a_practice_may_ask_every_four_weeks_or_never(world):
    def practise(weeks_long):
        for _ in range(weeks_long):
            world.pass_time(days=7)
            world.reply("20 steady")

    choose(world, "4")
    world.tick()
    practise(8)
    assert [one.local_date for one in weeks(world)] == [SUNDAY, date(2026, 4, 5)]
    assert weeks(world)[1].since == SUNDAY
    choose(world, "0")
    practise(5)
    assert len(weeks(world)) == 2
    choose(world, "1")
    practise(1)
    assert len(weeks(world)) == 3


def test_what_is_due_is_told_of(world):
    world.tick()
    with world.store.read() as session:
        until = world.clock.now() + timedelta(days=8)
        coming = [one for one in outlook(session, world.clock.now(), until) if one.kind == "falls"]
    assert [(one.would, one.local_date) for one in coming] == [("text", SUNDAY)]
