"""A rest and the way back from it: who rests gets no prompt, and the return is gentle."""

from datetime import timedelta

import pytest
from screened import unhurt
from sqlmodel import select

from rungwise.coach.plan.placement import Handling, NotSoHigh, handle
from rungwise.coach.record.situation import load, past
from rungwise.ladder.absence import caution_for
from rungwise.ladder.caution import PRESETS
from rungwise.store.tables import Alert, Client, Trainer

# On SQLite alone: what PostgreSQL does otherwise is tried by the other tests here.
one_store = pytest.mark.parametrize("store", ["sqlite"], indirect=True)


@one_store
@pytest.mark.parametrize("words", ["20 steady", "20", "14 wobbly", "skipped", "too easy"])
def test_results_of_a_resting_client_are_answered_kindly_and_move_nothing(world, words) -> None:
    world.pass_time(hours=1)
    world.reply("I fell")
    world.reply("no")
    before = (world.situation.placement.rung_key, len(world.sent()))
    world.reply(words)
    texts = world.sent()[before[1] :]
    assert [text.kind for text in texts] == ["safety"]
    assert "rest" in texts[0].body
    assert "911" in texts[0].body
    assert world.situation.placement.rung_key == before[0]
    assert world.client.state == "resting"
    assert all(move.kind in ("override", "rest", "stay") for move in world.moves())


def climb(world, days: int) -> None:
    for _ in range(days):
        world.pass_time(hours=1)
        world.reply("20 steady")
        world.pass_time(hours=23)


def back_to_practice(world, key: str) -> None:
    with world.store.write() as session:
        alert = session.exec(select(Alert).where(Alert.kind == "fall")).one()
        situation = load(session, session.get_one(Client, world.client_id))
        trainer = session.get_one(Trainer, world.trainer_id)
        handling = Handling("Phoned", "", key, unhurt())
        handle(session, world.clock.now(), trainer, alert, situation, handling)


def test_the_return_is_at_most_where_they_were_and_gentler_for_a_week(world) -> None:
    climb(world, 4)
    world.pass_time(hours=1)
    world.reply("I fell")
    ladder, here = world.situation.ladder, world.situation.placement.rung_key
    with pytest.raises(NotSoHigh):
        back_to_practice(world, ladder.above(here).key)
    assert world.client.state == "resting"
    back_to_practice(world, here)
    assert world.client.state == "active"
    world.pass_time(hours=23)

    def caution(days: int):
        situation = world.situation
        with world.store.read() as session:
            history = past(session, world.client_id)
        day = (world.clock.now() + timedelta(days=days)).date()
        return caution_for(situation.settings.plan(situation.resting), history, day)

    gentle = PRESETS["gentle"]
    assert caution(0).steady_days_step == gentle.steady_days_step == 3
    # Two steady days moved up before; now they do not.
    climb(world, 2)
    assert world.situation.placement.rung_key == here
    assert caution(7).steady_days_step == 2


@one_store
def test_a_client_who_rests_gets_no_prompt_until_the_trainer_says_where(world) -> None:
    world.pass_time(hours=1)
    world.reply("I fell")
    before = len(world.sent("prompt"))
    world.pass_time(days=2)
    assert len(world.sent("prompt")) == before
    back_to_practice(world, world.situation.placement.rung_key)
    world.pass_time(days=1)
    assert len(world.sent("prompt")) == before + 1
