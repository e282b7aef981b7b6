"""The safety conversation from the client's words to the last answer: which text, which alert, what
it asks next, and where the answers go. In each language; with the number of the practice.
"""

from dataclasses import dataclass
from datetime import timedelta

import pytest
from sqlmodel import select

from rungwise.coach.alerting.alerts import words_of
from rungwise.coach.plan.placement import Handling, NotSoHigh, handle
from rungwise.coach.record.situation import load, past
from rungwise.ladder.absence import caution_for
from rungwise.ladder.caution import PRESETS
from rungwise.store.tables import Alert, Client, Practice, Trainer
from rungwise.wording.segments import segments
from rungwise.wording.texts import render

# On SQLite alone: what PostgreSQL does otherwise is tried by the other tests here.
one_store = pytest.mark.parametrize("store", ["sqlite"], indirect=True)


@dataclass(frozen=True)
class Told:
    """What a client says, and what must follow at once."""

    language: str
    said: str
    alert: str
    text: str
    asks: str | None
    rests: bool = True


TOLD = [
    Told("en", "I fell in the garden", "fall", "safety_fall", "ask_hurt"),
    Told("en", "nearly went over, caught the counter", "near_fall", "ask_fall", None, rests=False),
    Told("en", "my knee is very sore", "pain", "safety_pain", "ask_pain_score"),
    Told("en", "felt dizzy", "dizziness", "safety_dizzy", "ask_hurt"),
    Told("en", "I have chest pain", "emergency", "safety_emergency", None),
    Told("es", "Me caí en el jardín", "fall", "safety_fall", "ask_hurt"),
    Told("es", "casi me caigo", "near_fall", "ask_fall", None, rests=False),
    Told("es", "me duele mucho la rodilla", "pain", "safety_pain", "ask_pain_score"),
    Told("es", "me mareé", "dizziness", "safety_dizzy", "ask_hurt"),
    Told("es", "tengo dolor en el pecho", "emergency", "safety_emergency", None),
]


def speaking(world, language: str) -> None:
    with world.store.write() as session:
        session.get_one(Client, world.client_id).language = language
        practice = session.exec(select(Practice)).one()
        practice.country, practice.emergency_number = "GB", "999"


def said_by_us(name: str, language: str) -> str:
    return render(name, language, None, number="999")


@one_store
@pytest.mark.parametrize("told", TOLD, ids=lambda told: f"{told.language}-{told.alert}")
def test_what_is_told_gets_its_fixed_text_its_alert_and_its_question(world, told: Told) -> None:
    speaking(world, told.language)
    world.pass_time(hours=1)
    world.reply(told.said)
    texts = [message.body for message in world.sent("safety")]
    assert texts[0] == said_by_us(told.text, told.language)
    assert texts[1:] == ([said_by_us(told.asks, told.language)] if told.asks else [])
    assert all(segments(text).count == 1 for text in texts)
    assert "999" in texts[0]
    alert = world.alerts()[told.alert]
    assert alert.urgency == ("urgent" if told.rests else "today")
    assert (world.client.state == "resting") is told.rests
    with world.store.read() as session:
        assert [message.body for message in words_of(session, alert.id)] == [told.said]
    # Every safety text left before anything else did.
    assert {message.rank for message in world.sent("safety")} == {0}


# What is told, its answer, the text that follows, and what the alert then says of it.
ANSWERS = [
    ("I fell", "no", "hurt_no", "fall", "not hurt"),
    ("I fell", "yes", "hurt_yes", "fall", "they are hurt"),
    ("I fell", "yes I can't get up", "safety_emergency", "emergency", "Practice was stopped"),
    ("felt dizzy", "no", "hurt_no", "dizziness", "not hurt"),
    ("my knee hurts", "4 left knee", "pain_score_kept", "pain", "4 of 10"),
    ("my knee hurts", "9", "pain_score_kept", "pain", "9 of 10"),
    ("my knee hurts", "the left one, it is not so bad", None, "pain", "follow-up"),
    ("nearly went over", "no", "safety_near_fall", "near_fall", "answered no"),
    ("nearly went over", "yes", "safety_fall", "fall", "Practice was stopped"),
]


@one_store
@pytest.mark.parametrize(("said", "answer", "text", "kind", "alert_says"), ANSWERS)
def test_the_answer_joins_the_alert_and_is_answered(
    world, said, answer, text, kind, alert_says
) -> None:
    speaking(world, "en")
    world.pass_time(hours=1)
    world.reply(said)
    before = len(world.sent("safety"))
    world.reply(answer)
    answered = [message.body for message in world.sent("safety")[before:]]
    assert answered, "nobody who may be hurt is left without an answer"
    if text is not None:
        assert said_by_us(text, "en") in answered
    alert = world.alerts()[kind]
    assert alert_says in alert.system_did
    with world.store.read() as session:
        assert answer in [message.body for message in words_of(session, alert.id)]


@one_store
def test_no_answer_to_a_near_fall_sends_a_client_on(world) -> None:
    """The text after "no, I did not fall" still says to stop and sit; "well done" is not in it."""
    speaking(world, "en")
    world.pass_time(hours=1)
    world.reply("nearly went over")
    world.reply("no")
    text = world.sent("safety")[-1].body
    assert "stop and sit down" in text
    assert "No more practice for now" in text


@one_store
@pytest.mark.parametrize("words", ["20 steady", "20", "14 wobbly", "skipped", "too easy"])
def test_results_of_a_resting_client_are_answered_kindly_and_move_nothing(world, words) -> None:
    world.pass_time(hours=1)
    world.reply("I fell")
    world.reply("no")
    before = (world.situation.placement.rung_key, len(world.sent()))
    world.reply(words)
    texts = world.sent()[before[1] :]
    assert [text.kind for text in texts] == ["answer"]
    assert "Please rest" in texts[0].body or "rest" in texts[0].body
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
        handling = Handling("Phoned", resume_key=key)
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
