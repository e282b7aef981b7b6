"""Asking the screening again spares the client what the new answers say, and never less."""

import pytest
from screened import harmless
from sqlmodel import select

from rungwise.coach.enrolment.intake import screen_again
from rungwise.coach.plan.placement import place_client
from rungwise.coach.record.situation import load
from rungwise.ladder.body import profile_from_stored, profile_to_json
from rungwise.ladder.stance import Support, Surface
from rungwise.store.tables import Audit, Client, PlanRow, Trainer


def ask(world, **answers):
    with world.store.write() as session:
        client = session.get_one(Client, world.client_id)
        trainer = session.get_one(Trainer, world.trainer_id)
        screen_again(session, world.clock.now(), trainer, client, {**harmless(), **answers})


def on_a_mat(world):
    """The client has a mat, and stands on its first rung."""
    with world.store.write() as session:
        row = session.exec(select(PlanRow)).one()
        row.profile = {**row.profile, "equipment": {**row.profile["equipment"], "mat_layers": 2}}
        session.add(row)
        trainer = session.get_one(Trainer, world.trainer_id)
        situation = load(session, session.get_one(Client, world.client_id))
        soft = next(one for one in situation.ladder.rungs if one.surface is not Surface.FIRM)
        place_client(session, world.clock.now(), trainer, situation, soft.key, "Seen it.")


@pytest.mark.parametrize("answer", ["yes", "unsure"])
def test_a_stick_or_frame_keeps_both_hands_on_the_counter(world, answer):
    ask(world, aid=answer)
    assert world.client.state == "resting"
    situation = world.situation
    assert situation.measures.limits.two_hands
    assert {rung.support for rung in situation.ladder.rungs} == {Support.TWO_HANDS}
    assert situation.rung.support is Support.TWO_HANDS


def test_feet_that_feel_little_end_soft_ground_and_the_client_is_told(world):
    on_a_mat(world)
    world.tick()
    before = len(world.sent())
    ask(world, numb="yes")
    world.tick()
    situation = world.situation
    assert world.client.state == "active"
    assert situation.rung.surface is Surface.FIRM
    assert {rung.surface for rung in situation.ladder.rungs} == {Surface.FIRM}
    assert world.moves()[-1].kind == "override"
    assert len(world.sent()) == before + 1


def test_better_answers_let_nothing_back_and_the_same_ones_change_nothing(world):
    ask(world, aid="yes")
    row = world.situation.plan_row
    for answers in ({}, {"aid": "yes"}):
        ask(world, **answers)
        assert world.situation.measures.limits.two_hands
        assert world.situation.plan_row.id == row.id
    with world.store.read() as session:
        lines = session.exec(select(Audit).where(Audit.action == "facts changed")).all()
    assert [line.detail["changed"] for line in lines] == [{"two_hands": ["no", "yes"]}]


def test_what_was_opened_beside_standing_closes_again(world):
    with world.store.write() as session:
        row = session.exec(select(PlanRow)).one()
        limits = {**row.profile["limits"], "opened_tasks": ["tandem/head"]}
        row.profile = {**row.profile, "limits": limits}
        session.add(row)
    ask(world, aid="yes")
    stored = world.situation.plan_row.profile
    assert stored["limits"]["opened_tasks"] == []
    assert profile_to_json(profile_from_stored(stored)) == stored
