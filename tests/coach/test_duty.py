"""Who is paged, and what a monitor sees."""

from datetime import UTC, datetime, timedelta

import pytest
from duty_rows import ALWAYS, put_on_duty

from rungwise.coach.accounts.trainers import add_trainer
from rungwise.coach.alerting.duty import on_duty_at, whom_to_page
from rungwise.coach.monitoring.health import health
from rungwise.store.tables import Client, Duty, LastTick, Practice, Trainer
from rungwise.ticks.jobs import note_tick

# A Monday, 08:00 in New York (tz database).
MONDAY = datetime(2026, 3, 2, 13, 0, tzinfo=UTC)


@pytest.fixture
def second(world):
    with world.store.write() as session:
        practice = session.get_one(Practice, world.client.practice_id)
        other = add_trainer(
            session, MONDAY, practice, "Omar Other", "o@example.org", "a long enough password"
        )
        other.phone = "+12025550104"
        return other.id


def paged(world, now):
    with world.store.read() as session:
        practice = session.get_one(Practice, world.client.practice_id)
        client = session.get_one(Client, world.client_id)
        return [trainer.id for trainer in whom_to_page(session, now, practice, client)]


def test_without_a_duty_plan_the_clients_trainer_is_paged(world, second):
    assert paged(world, MONDAY) == [world.trainer_id]


def test_the_one_on_duty_is_paged_in_the_practices_own_time(world, second):
    with world.store.write() as session:
        put_on_duty(session, session.get_one(Trainer, second), [(0, "08:00", "12:00")])
        put_on_duty(session, session.get_one(Trainer, world.trainer_id), [(0, "12:00", "23:59")])
    assert paged(world, MONDAY) == [second]
    assert paged(world, MONDAY + timedelta(hours=4)) == [world.trainer_id]
    assert paged(world, MONDAY + timedelta(hours=15, minutes=59, seconds=30)) == [world.trainer_id]


def test_when_nobody_is_on_duty_the_own_trainer_and_the_leads_are_paged(world, second):
    with world.store.write() as session:
        lead = session.get_one(Trainer, second)
        lead.role = "lead"
        put_on_duty(session, lead, [(2, "08:00", "12:00")])
    assert set(paged(world, MONDAY)) == {world.trainer_id, second}


def test_a_trainer_who_has_left_is_not_the_only_one_paged(world, second):
    with world.store.write() as session:
        session.get_one(Trainer, world.trainer_id).active = False
        session.get_one(Trainer, second).role = "lead"
    assert paged(world, MONDAY) == [second]


def test_a_fall_pages_the_one_on_duty(world, second):
    with world.store.write() as session:
        put_on_duty(session, session.get_one(Trainer, second), ALWAYS)
    world.pass_time(hours=1)
    world.reply("I fell")
    assert [page.to_phone for page in world.pages()] == ["+12025550104"]


def test_hours_end_before_their_end():
    plan = [Duty(practice_id=1, trainer_id=5, weekday=0, begins="08:00", ends="09:00")]
    assert on_duty_at(plan, MONDAY, "America/New_York") == {5}
    assert on_duty_at(plan, MONDAY + timedelta(hours=1), "America/New_York") == set()


def look(world, real_now=MONDAY, **changed):
    with world.store.read() as session:
        return health(session, world.clock.now(), real_now, **{"ticks": True, **changed})


def test_a_service_whose_ticks_run_is_well(world):
    world.tick()
    note_tick(world.store, "due", MONDAY)
    note_tick(world.store, "send", MONDAY)
    assert look(world).well
    assert look(world, MONDAY + timedelta(seconds=59)).well


def test_stopped_ticks_are_a_problem(world):
    world.tick()
    assert "ticks" in look(world).problems[0]
    note_tick(world.store, "due", MONDAY)
    note_tick(world.store, "send", MONDAY - timedelta(minutes=5))
    assert "ticks" in look(world).problems[0]
    assert look(world, ticks=False).well
    with world.store.read() as session:
        assert session.get(LastTick, "due").at == MONDAY


def test_waiting_texts_and_late_dues_are_problems(world):
    world.clock.advance(timedelta(minutes=10))
    assert any("outbox" in problem for problem in look(world, ticks=False).problems)
    world.tick()
    world.clock.advance(timedelta(hours=2))
    assert any("due" in problem for problem in look(world, ticks=False).problems)


def test_an_urgent_alert_that_nobody_could_be_paged_about_is_a_problem(world):
    with world.store.write() as session:
        trainer = session.get_one(Trainer, world.trainer_id)
        trainer.phone = trainer.second_contact_phone = None
    world.pass_time(hours=1)
    world.reply("I fell")
    found = look(world, ticks=False)
    assert found.urgent_unseen == 1
    assert "no page was handed over" in found.problems[0]
