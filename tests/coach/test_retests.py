"""Retests and calls at a visit, and the rhythm in which the next review becomes due."""

from datetime import date, datetime, timedelta

import pytest
from sqlmodel import select

from rungwise.coach.plan.placement import Handling, handle
from rungwise.coach.record.rhythm import rhythm_of
from rungwise.coach.reviews.retests import (
    NewRetest,
    latest,
    record_call,
    record_retest,
    results_of,
    retests_of,
    reviews_due,
    set_rhythm,
    withdraw_retest,
)
from rungwise.errors import EditedMeanwhile, ImpossibleValue, NotFound
from rungwise.store.tables import Alert, Audit, Baseline, Client, ClientNote, Due, Retest

BEGAN = date(2026, 3, 2)
TUG = NewRetest("tug", BEGAN, 74, {"time_s": 12.5, "aid": "none"}, "female", "In the kitchen.")


def due_on(world) -> date | None:
    with world.store.read() as session:
        return reviews_due(session, [session.get_one(Client, world.client_id)]).get(world.client_id)


def looks_at(world) -> datetime | None:
    with world.store.read() as session:
        rows = select(Due).where(Due.kind == "retest", Due.subject_id == world.client_id)
        return session.exec(rows).one().at


def go_to(world, day: date) -> None:
    """Noon of this date in New York, with one tick."""
    world.clock.set(datetime.fromisoformat(f"{day.isoformat()}T12:00:00-05:00"))
    world.tick()


def retest(world, trainer, new: NewRetest = TUG) -> int:
    with world.store.write() as session:
        client = session.get_one(Client, world.client_id)
        return record_retest(session, world.clock.now(), trainer, client, new).id


def test_the_first_review_is_due_six_weeks_after_the_client_began(world):
    assert due_on(world) == BEGAN + timedelta(weeks=6)
    # 07:00 in New York, by then on daylight time.
    assert looks_at(world).isoformat() == "2026-04-13T11:00:00+00:00"


def test_a_review_that_is_due_opens_one_note_and_sends_the_client_nothing(world):
    go_to(world, date(2026, 4, 12))
    assert "retest_due" not in world.alerts()
    before = len(world.sent())
    go_to(world, date(2026, 4, 13))
    alert = world.alerts()["retest_due"]
    assert alert.urgency == "note"
    assert "Every 6 weeks" in alert.system_did
    for day in (14, 15, 16):
        go_to(world, date(2026, 4, day))
    assert world.alerts()["retest_due"].id == alert.id
    assert world.alerts()["retest_due"].system_did == alert.system_did
    assert not world.pages()
    assert [text.kind for text in world.sent()[before:]].count("notice") == 0


def test_a_retest_closes_the_note_and_starts_the_rhythm_afresh(world, trainer):
    go_to(world, date(2026, 4, 14))
    assert "retest_due" in world.alerts()
    retest(world, trainer, NewRetest("tug", date(2026, 4, 14), 74, TUG.measured))
    assert "retest_due" not in world.alerts()
    assert due_on(world) == date(2026, 4, 14) + timedelta(weeks=6)


def test_handling_the_note_counts_as_a_review(world, trainer):
    go_to(world, date(2026, 4, 15))
    due = world.alerts()["retest_due"]
    with world.store.write() as session:
        alert = session.get_one(Alert, due.id)
        handle(session, world.clock.now(), trainer, alert, None, Handling("Phoned: all is well"))
    assert due_on(world) == date(2026, 4, 15) + timedelta(weeks=6)
    go_to(world, date(2026, 4, 17))
    assert "retest_due" not in world.alerts()


def test_a_call_is_a_review_and_its_note_is_kept(world, trainer):
    go_to(world, date(2026, 4, 1))
    with world.store.write() as session:
        client = session.get_one(Client, world.client_id)
        with pytest.raises(ImpossibleValue, match="note"):
            record_call(session, world.clock.now(), trainer, client, "  ")
        record_call(session, world.clock.now(), trainer, client, "Called, all well")
        assert session.exec(select(ClientNote.body)).all() == ["Called, all well"]
    assert due_on(world) == date(2026, 4, 1) + timedelta(weeks=6)


@pytest.mark.parametrize(("weeks", "due"), [(4, date(2026, 3, 30)), (5, date(2026, 4, 6))])
def test_the_rhythm_is_the_clients_own(world, trainer, weeks, due):
    with world.store.write() as session:
        client = session.get_one(Client, world.client_id)
        set_rhythm(session, world.clock.now(), trainer, client, weeks)
        for wrong in (3, 7, True):
            with pytest.raises(ImpossibleValue):
                set_rhythm(session, world.clock.now(), trainer, client, wrong)
    assert due_on(world) == due
    assert looks_at(world).date() == due
    with world.store.read() as session:
        assert rhythm_of(session, world.client_id).every_weeks == weeks


@pytest.mark.parametrize("state", ["stopped", "invited"])
def test_who_has_ended_or_not_begun_is_not_reviewed(world, state):
    with world.store.write() as session:
        session.get_one(Client, world.client_id).state = state
    assert due_on(world) is None
    go_to(world, date(2026, 4, 20))
    assert "retest_due" not in world.alerts()
    assert looks_at(world) > world.clock.now()


def test_a_resting_client_is_reviewed_too(world):
    world.tick()
    world.reply("I fell")
    assert world.client.state == "resting"
    go_to(world, date(2026, 4, 14))
    assert "retest_due" in world.alerts()


def test_a_retest_is_stored_with_its_score_and_the_audit_trail_has_it(world, trainer):
    stored = retest(world, trainer)
    with world.store.read() as session:
        row = session.get_one(Retest, stored)
        trail = session.exec(select(Audit).where(Audit.action == "retest")).one()
    assert (row.kind, row.day, row.age, row.sex) == ("tug", BEGAN, 74, "female")
    assert row.score == {"value": 12.5, "unit": "s"}
    assert (row.note, row.trainer_id) == ("In the kitchen.", trainer.id)
    assert trail.detail == {"kind": "tug", "retest": stored}


@pytest.mark.parametrize(
    "new",
    [
        NewRetest("tug", BEGAN + timedelta(days=1), 74, TUG.measured),
        NewRetest("tug", BEGAN - timedelta(days=367), 74, TUG.measured),
        NewRetest("tug", BEGAN, 8, TUG.measured),
        NewRetest("tug", BEGAN, 74, TUG.measured, "unknown"),
        NewRetest("tug", BEGAN, 74, {"time_s": -1, "aid": "none"}),
        NewRetest("hopping", BEGAN, 74, {}),
    ],
)
def test_a_retest_that_cannot_be_is_not_stored(world, trainer, new):
    with pytest.raises(ImpossibleValue):
        retest(world, trainer, new)
    with world.store.read() as session:
        assert session.exec(select(Retest)).all() == []


def test_results_are_set_against_the_one_before_of_the_same_kind(world, trainer):
    def one_leg(day: int, left_s: float) -> None:
        measured = {"left_s": [left_s], "right_s": []}
        retest(world, trainer, NewRetest("one_leg", date(2026, 3, day), 74, measured))

    go_to(world, date(2026, 3, 31))
    one_leg(20, 40.0)
    one_leg(3, 20.0)  # entered later, done before
    retest(world, trainer)
    with world.store.read() as session:
        results = results_of(session, world.client_id)
    assert [result.retest.day.day for result in results] == [20, 3, 2]
    changed = results[0].changed
    assert changed is not None
    assert changed.conclusion == "no sure change"
    assert "left leg 40 s now, 20 s before (100% more)" in changed.says
    assert results[1].changed is results[2].changed is None
    assert set(latest(results)) == {"one_leg", "tug"}
    assert latest(results)["one_leg"].retest.day.day == 20


def test_a_four_stage_test_is_set_against_the_baseline(world, trainer):
    with world.store.write() as session:
        session.add(
            Baseline(
                client_id=world.client_id,
                trainer_id=trainer.id,
                held_s=[10, 10, 4],
                suggested_key="x",
                because="y",
                on=BEGAN,
                at=world.clock.now(),
            )
        )
    retest(world, trainer, NewRetest("four_stage", BEGAN, 74, {"held_s": [10, 10, 10, 6]}))
    with world.store.read() as session:
        (result,) = results_of(session, world.client_id)
    assert result.changed is not None
    assert result.changed.conclusion == "better"
    assert "stages held 3 now, 2 before" in result.changed.says


def test_a_mistake_is_withdrawn_and_stays_in_the_record(world, trainer):
    stored = retest(world, trainer)
    go_to(world, date(2026, 3, 20))
    later = retest(world, trainer, NewRetest("tug", date(2026, 3, 20), 74, TUG.measured))
    assert due_on(world) == date(2026, 3, 20) + timedelta(weeks=6)
    with world.store.write() as session:
        client = session.get_one(Client, world.client_id)
        withdraw_retest(session, world.clock.now(), trainer, client, later)
        with pytest.raises(EditedMeanwhile):
            withdraw_retest(session, world.clock.now(), trainer, client, later)
        with pytest.raises(NotFound):
            withdraw_retest(session, world.clock.now(), trainer, client, 999)
    assert due_on(world) == BEGAN + timedelta(weeks=6)
    with world.store.read() as session:
        assert [row.id for row in retests_of(session, world.client_id)] == [stored]
        assert len(session.exec(select(Retest)).all()) == 2
