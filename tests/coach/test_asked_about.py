"""What a client asks, and what they find too hard or too easy: kept, answered, never obeyed up."""

import pytest
from sqlmodel import select

from rungwise.coach.plan.placement import pause, place_client
from rungwise.coach.record.situation import load
from rungwise.store.tables import Client, Message, PlanRow, Practice, Trainer
from rungwise.wording.rung_words import Telling, rung_text

ASKS = "Which way round do I stand today?"


def tasks_again(store):
    """The states of the answers that told a task again."""
    with store.read() as session:
        rows = session.exec(select(Message).where(Message.kind == "answer")).all()
    return [row.state for row in rows if row.body.startswith("Today's exercise again:")]


def test_a_question_about_the_stance_gets_the_task_again_and_is_kept_too(world):
    world.pass_time(hours=1)
    world.reply(ASKS)
    assert world.alerts()["request"].urgency == "note"
    answer = world.sent("answer")[-1].body
    assert answer.startswith("Today's exercise again:")
    assert "Tess Example" in answer


def test_a_question_about_the_stance_from_a_resting_client_sends_no_task(world):
    world.pass_time(hours=1)
    world.reply("I fell in the kitchen")
    world.reply("Which foot goes in front?")
    assert not [each for each in world.sent("answer") if "exercise again" in each.body]


@pytest.mark.parametrize("change", ["paused", "another rung"])
def test_a_question_sends_no_task_that_is_not_todays(world, trainer, change):
    world.pass_time(hours=1)
    with world.store.write() as session:
        now = world.clock.now()
        situation = load(session, session.get_one(Client, world.client_id))
        if change == "paused":
            pause(session, now, trainer, situation)
        else:
            further = situation.ladder.rungs[situation.ladder.index(situation.rung.key) + 1]
            place_client(session, now, trainer, situation, further.key, "seen at the visit")
    world.reply(ASKS)
    assert tasks_again(world.store) == []
    assert "passed it on" in world.sent("answer")[-1].body
    assert world.alerts()["request"].urgency == "note"


@pytest.mark.parametrize("says", ["I fell in the kitchen", "I slipped and nearly fell", "STOP"])
def test_a_task_told_again_that_has_not_left_is_taken_back_by_a_fall_a_doubt_or_stop(outbox, says):
    outbox.world.pass_time(hours=1)
    outbox.send()
    outbox.world.reply(ASKS)
    assert tasks_again(outbox.world.store) == ["queued"]
    outbox.world.reply(says)
    outbox.send()
    assert tasks_again(outbox.world.store) == ["cancelled"]
    assert not [text for text in outbox.wire.got if "exercise again" in text.body]


def test_a_task_told_again_that_waits_leaves_no_more_after_a_pause(outbox, trainer):
    outbox.world.pass_time(hours=1)
    outbox.send()
    outbox.world.reply(ASKS)
    with outbox.world.store.write() as session:
        situation = load(session, session.get_one(Client, outbox.world.client_id))
        pause(session, outbox.world.clock.now(), trainer, situation)
    outbox.send()
    assert tasks_again(outbox.world.store) == ["cancelled"]


def test_too_hard_is_noted_and_moves_nothing_by_itself(world):
    world.pass_time(hours=1)
    world.reply("too hard for me")
    assert "easier" in world.alerts()["request"].system_did
    assert world.sent("answer")[-1].rung_key != world.situation.placement.rung_key
    assert {move.kind for move in world.moves()} <= {"override"}


def test_too_easy_moves_nobody_up_before_their_time(world):
    world.pass_time(hours=1)
    world.reply("20 steady, far too easy, give me something harder")
    assert "too easy" in world.alerts()["request"].system_did
    assert world.client.state == "active"
    assert "up" not in [move.kind for move in world.moves()]


def easier_ones(store):
    """The states of the answers that asked for an easier rung."""
    with store.read() as session:
        rows = session.exec(select(Message).where(Message.kind == "answer")).all()
    return [row.state for row in rows if row.rung_key is not None]


def put_on(outbox, trainer, place):
    with outbox.world.store.write() as session:
        situation = load(session, session.get_one(Client, outbox.world.client_id))
        key = situation.ladder.rungs[place].key
        place_client(session, outbox.world.clock.now(), trainer, situation, key, "seen")


def test_an_easier_one_for_today_leaves_though_nobody_is_moved(outbox, trainer):
    put_on(outbox, trainer, 3)
    outbox.world.pass_time(hours=1)
    outbox.send()
    outbox.world.reply("too hard for me")
    outbox.send()
    assert easier_ones(outbox.world.store) == ["sent"]
    assert "Hold" in outbox.wire.got[-1].body


def test_an_easier_one_that_waits_leaves_no_more_once_the_trainer_has_placed_them(outbox, trainer):
    put_on(outbox, trainer, 3)
    outbox.world.pass_time(hours=1)
    outbox.send()
    outbox.world.reply("too hard for me")
    outbox.world.pass_time(minutes=1)
    put_on(outbox, trainer, 0)
    outbox.send()
    assert easier_ones(outbox.world.store) == ["cancelled"]


def with_a_tape_in_inches(world):
    """The client on the second rung, with a tape on the floor, in a practice of inches."""
    with world.store.write() as session:
        client = session.get_one(Client, world.client_id)
        session.get_one(Practice, client.practice_id).lengths = "in"
        row = session.exec(select(PlanRow)).one()
        equipment = {**row.profile["equipment"], "tape": True}
        row.profile = {**row.profile, "equipment": equipment}
        session.add(row)
        trainer = session.get_one(Trainer, world.trainer_id)
        situation = load(session, client)
        rung = situation.ladder.rungs[1]
        place_client(session, world.clock.now(), trainer, situation, rung.key, "Seen it.")


@pytest.mark.parametrize(
    ("asks", "place", "begins"),
    [(ASKS, 1, "Today's exercise again:"), ("too hard today, easier please", 0, "")],
)
def test_again_and_easier_are_told_as_the_days_text_tells_them(world, asks, place, begins):
    with_a_tape_in_inches(world)
    world.pass_time(hours=2)
    world.reply(asks)
    situation = world.situation
    rung = situation.ladder.rungs[place]
    assert situation.telling().tape
    assert situation.telling().units == "in"
    told = rung_text(rung, situation.measures.body, situation.telling())
    assert told != rung_text(rung, situation.measures.body, Telling(situation.settings.target_s))
    answer = world.sent("answer")[-1].body
    assert told in answer
    assert answer.startswith(begins)


def test_a_fixed_answer_is_told_in_words_and_not_by_its_name(world):
    world.pass_time(hours=1)
    world.reply("how long do I hold?")
    did = world.alerts()["request"].system_did
    assert "The client asked about: how long. The fixed answer was sent." in did
    assert "_" not in did
