"""Days told by phone or seen at a visit, and readings put right: as after a text, and replayed."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from screened import unhurt
from sqlmodel import select

from rungwise.coach.conversation.effects import Become, Decide, Effects, Say, Tell
from rungwise.coach.conversation.on_text import context_of, on_text
from rungwise.coach.conversation.rehearsal import Conversation, invented
from rungwise.coach.conversation.told_by_trainer import (
    ENTERED_SIGNS,
    DayTold,
    Entered,
    entered_words,
    on_told,
)
from rungwise.coach.daily.told_days import (
    Correction,
    DayEntry,
    SignStillOpen,
    correct_reading,
    enter_day,
    likeliest_day,
    look_at_day,
)
from rungwise.coach.daily.write_to_client import GetsNoTexts
from rungwise.coach.plan.placement import Handling, handle
from rungwise.coach.record.falls import falls_of
from rungwise.coach.record.situation import current_report, load
from rungwise.coach.record.told import PHONE, VISIT, corrections_of
from rungwise.coach.rule.replay import replay
from rungwise.errors import ImpossibleValue, NotFound
from rungwise.reply import read
from rungwise.reply.reading import Hold
from rungwise.store.tables import Alert, Audit, Client, Message, Report, Trainer

pytestmark = pytest.mark.both_databases
# On SQLite alone: what is stored is the same as in the other tests here.
one_store = pytest.mark.parametrize("store", ["sqlite"], indirect=True)

STEADY = Entered(holds=(Hold(20),), steadiness="steady")
FELL = Entered(practised="other", signs=frozenset({"fall"}))


def today(world) -> date:
    return world.situation.local_date(world.clock.now())


def enter(world, entered=STEADY, days_ago=0, **more):
    entry = DayEntry(today(world) - timedelta(days=days_ago), PHONE, entered, **more)
    with world.store.write() as session:
        trainer = session.get_one(Trainer, world.trainer_id)
        situation = load(session, session.get_one(Client, world.client_id))
        outcome = enter_day(session, world.clock.now(), trainer, situation, entry)
    world.tick()
    return outcome


def correct(world, entered, text=None, **more):
    with world.store.write() as session:
        trainer = session.get_one(Trainer, world.trainer_id)
        situation = load(session, session.get_one(Client, world.client_id))
        said = session.get_one(Message, text or last_said(world))
        given = Correction(said, entered, **more)
        outcome = correct_reading(session, world.clock.now(), trainer, situation, given)
    world.tick()
    return outcome


def last_said(world) -> int:
    with world.store.read() as session:
        rows = select(Message.id).where(Message.direction == "in")
        return max(session.exec(rows).all())


def report(world, days_ago=0) -> Report | None:
    with world.store.read() as session:
        day = today(world) - timedelta(days=days_ago)
        return current_report(session, world.client_id, day)


def handled(world, kind="fall", resume=True) -> None:
    with world.store.write() as session:
        alert = session.exec(select(Alert).where(Alert.kind == kind, Alert.state != "handled"))
        situation = load(session, session.get_one(Client, world.client_id))
        trainer = session.get_one(Trainer, world.trainer_id)
        key = situation.placement.rung_key if resume else None
        after_fall = unhurt() if kind == "fall" else None
        handling = Handling("Phoned", resume_key=key, after_fall=after_fall)
        handle(session, world.clock.now(), trainer, alert.one(), situation, handling)
    world.tick()


def differences(world) -> list:
    with world.store.read() as session:
        return list(replay(session))


# --- a day ----------------------------------------------------------------------------------------


def test_a_day_told_by_phone_is_decided_as_a_text_is_and_replays(world) -> None:
    first = world.situation.placement.rung_key
    world.pass_time(hours=25)
    sent = len(world.sent())
    enter(world, days_ago=1)
    assert world.situation.placement.rung_key == first
    enter(world, words="said she enjoyed it")
    assert world.situation.placement.rung_key == world.situation.ladder.above(first).key
    assert [move.kind for move in world.moves()] == ["override", "stay", "up"]
    assert len(world.sent()) == sent
    assert differences(world) == []
    with world.store.read() as session:
        rows = session.exec(select(Message).where(Message.direction == "told")).all()
        audit = session.exec(select(Audit).where(Audit.action == "day entered")).all()
    assert {row.trainer_id for row in rows} == {world.trainer_id}
    assert sorted(row.body for row in rows) == [
        "Held 20 s, steady.",
        "Held 20 s, steady. said she enjoyed it",
    ]
    assert [line.detail["by"] for line in audit] == [PHONE, PHONE]


@one_store
def test_what_is_entered_of_a_day_replaces_its_holds_and_the_reminder_goes(world) -> None:
    world.pass_time(hours=1)
    world.reply("20 steady")
    enter(world, Entered(holds=(Hold(8),), steadiness="wobbly"))
    told = report(world).told
    assert [hold["seconds"] for hold in told["holds"]] == [8]
    assert told["steadiness"] == "wobbly"
    assert world.moves()[-1].kind == "stay"  # the lowest rung: there is no easier one
    assert world.moves()[-1].rule == "lowest"
    assert differences(world) == []


@one_store
def test_only_the_last_two_weeks_and_no_day_to_come_can_be_entered(world) -> None:
    world.pass_time(hours=1)
    for days_ago in (-1, 15):
        with pytest.raises(ImpossibleValue, match="the last two weeks"):
            enter(world, days_ago=days_ago)
    enter(world, days_ago=14)
    with pytest.raises(ImpossibleValue, match="seconds held"):
        enter(world, Entered(practised="other"))


@one_store
def test_an_earlier_day_never_moves_up_once_a_later_one_is_told_but_counts(world) -> None:
    """Told Monday and Wednesday, then Tuesday: the next day told may move up, and not Tuesday."""
    first = world.situation.placement.rung_key
    world.pass_time(days=2, hours=1)
    enter(world, days_ago=2)
    enter(world, Entered(holds=(Hold(20),)))  # nobody said whether it was steady
    enter(world, days_ago=1)
    assert world.moves()[-1].rule == "later_told"
    assert world.situation.placement.rung_key == first
    world.pass_time(days=1)
    world.reply("20 steady")
    assert world.situation.placement.rung_key != first
    assert differences(world) == []


@one_store
def test_the_likeliest_day_is_the_latest_that_was_asked_for_and_not_told(world) -> None:
    world.pass_time(days=2, hours=1)
    world.reply("20 steady")
    with world.store.read() as session:
        situation = load(session, session.get_one(Client, world.client_id))
        found = likeliest_day(session, situation, world.clock.now())
    assert found == today(world) - timedelta(days=1)


@one_store
def test_looking_stores_nothing(world) -> None:
    world.pass_time(hours=1)
    entry = DayEntry(today(world), VISIT, FELL)
    with world.store.read() as session:
        situation = load(session, session.get_one(Client, world.client_id))
        trainer = session.get_one(Trainer, world.trainer_id)
        seen = look_at_day(session, world.clock.now(), trainer, situation, entry)
    assert [step.move.kind for step in seen.effects.steps if isinstance(step, Decide)] == ["rest"]
    assert world.client.state == "active"
    assert report(world) is None


# --- signs ----------------------------------------------------------------------------------------

NOW = datetime(2026, 1, 5, 16, tzinfo=UTC)
SAID = {
    "emergency": "could not breathe",
    "distress": "I wish I was dead",
    "fall": "I fell in the garden",
    "dizziness": "felt dizzy, room spinning",
    "pain": "my knee hurts a lot",
    "near_fall": "nearly fell, caught the counter",
    "health_news": "I have been in hospital, new tablets",
}


def followed(effects: Effects) -> list[object]:
    """What follows besides texts and questions: the move, the state, the alerts."""
    moves = [(step.move.kind, step.move.rule) for step in effects.steps if isinstance(step, Decide)]
    states = [step for step in effects.steps if isinstance(step, Become)]
    told = [
        (step.kind, step.urgency, step.anew) for step in effects.steps if isinstance(step, Tell)
    ]
    return [moves, states, told]


@pytest.mark.parametrize("store", ["sqlite"], indirect=True)
@pytest.mark.parametrize("sign", ENTERED_SIGNS)
def test_a_sign_entered_leads_to_what_the_same_told_by_text_leads_to(store, sign) -> None:
    del store
    dossier = invented(Conversation(turns=()))
    context = context_of(dossier, NOW)
    by_text = on_text(dossier, read(SAID[sign], context), context, NOW)
    entered = Entered(practised="other", signs=frozenset({sign}))
    reading = entered.reading()
    day = DayTold(date(2026, 1, 5), dossier.standing.rung_key, [(reading, "result")], reading)
    by_trainer = on_told(dossier, day, NOW)
    assert followed(by_trainer) == followed(by_text)
    assert not [step for step in by_trainer.steps if isinstance(step, Say)]
    # And with the text, where the trainer wants it, the very same words and question.
    with_text = on_told(dossier, replace(day, texts_client=True), NOW)
    words = [
        [step.body for step in one.steps if isinstance(step, Say)] for one in (with_text, by_text)
    ]
    assert words[0] == words[1]


def test_a_fall_entered_rests_and_pages_and_sends_nothing_unless_wanted(world) -> None:
    world.pass_time(hours=1)
    sent = len(world.sent())
    enter(world, FELL, days_ago=3)
    assert world.client.state == "resting"
    assert world.alerts()["fall"].urgency == "urgent"
    assert world.pages()
    assert len(world.sent()) == sent
    world.pass_time(days=2)
    assert len(world.sent()) == sent  # and no prompt either
    with world.store.read() as session:
        since = world.clock.now() - timedelta(days=30)
        fell = falls_of(session, [world.client], since)
    assert [event.day for event in fell[world.client_id]] == [today(world) - timedelta(days=5)]
    assert differences(world) == []


@one_store
def test_the_safety_text_goes_where_the_trainer_wants_it_and_its_answer_is_heard(world) -> None:
    world.pass_time(hours=1)
    enter(world, FELL, texts_client=True)
    assert world.sent()[-1].name == "safety_fall"
    world.reply("I can't get up")
    assert "emergency" in world.alerts()
    assert differences(world) == []


@one_store
def test_nobody_who_gets_no_texts_is_texted_and_their_fall_is_told(world) -> None:
    world.pass_time(hours=1)
    world.reply("STOP")
    with pytest.raises(GetsNoTexts):
        enter(world, FELL, texts_client=True)
    enter(world, FELL)
    assert world.client.state == "stopped"
    assert world.client.stopped_from == "resting"
    assert "fall" in world.alerts()


@one_store
def test_entering_a_good_day_ends_no_rest_and_no_doubt(world) -> None:
    world.pass_time(hours=1)
    world.reply("I fell")
    enter(world)
    assert world.client.state == "resting"
    assert report(world).told["fall"] == "yes"
    assert world.moves()[-1].kind == "rest"
    assert differences(world) == []


@one_store
def test_the_usual_pain_entered_rests_nobody_and_gives_no_credit(world) -> None:
    world.pass_time(hours=1)
    enter(world, replace(STEADY, usual=True))
    assert world.client.state == "active"
    assert world.alerts()["pain"].urgency == "note"
    assert report(world).told["no_credit"]
    assert differences(world) == []


# --- a reading put right --------------------------------------------------------------------------


def test_a_misread_number_is_put_right_from_the_text_and_its_day_decided_anew(world) -> None:
    first = world.situation.placement.rung_key
    for _ in range(2):
        world.pass_time(hours=1)
        world.reply("20 steady")
        world.pass_time(hours=23)
    assert world.situation.placement.rung_key != first
    correct(world, Entered(holds=(Hold(12),), steadiness="wobbly"))
    assert world.situation.placement.rung_key == first
    assert [hold["seconds"] for hold in report(world, 1).told["holds"]] == [12]
    assert world.moves()[-1].kind == "stay"
    assert differences(world) == []
    with world.store.read() as session:
        right = corrections_of(session, [last_said(world)])[last_said(world)]
        said = session.get_one(Message, last_said(world))
    assert said.reading["holds"][0]["seconds"] == 20  # what was read stays as it was
    assert right.reading["holds"][0]["seconds"] == 12
    # It can be put right once more, and the last word counts.
    correct(world, STEADY)
    assert [hold["seconds"] for hold in report(world, 1).told["holds"]] == [20]
    assert world.situation.placement.rung_key != first
    assert differences(world) == []


def test_a_sign_that_was_misread_stays_until_its_alert_is_handled(world) -> None:
    world.pass_time(hours=1)
    world.reply("I fell")
    with pytest.raises(SignStillOpen):
        correct(world, STEADY)
    assert report(world).told["fall"] == "yes"
    handled(world)
    assert world.client.state == "active"
    correct(world, STEADY)
    assert report(world).told["fall"] == "no"
    assert world.client.state == "active"
    with world.store.read() as session:
        since = world.clock.now() - timedelta(days=30)
        assert falls_of(session, [world.client], since) == {}
    assert differences(world) == []


@one_store
def test_a_correction_ends_no_rest_by_itself(world) -> None:
    world.pass_time(hours=1)
    world.reply("I fell")
    handled(world, resume=False)
    correct(world, STEADY)
    assert world.client.state == "resting"
    assert world.moves()[-1].rule == "resting"
    sent = len(world.sent())
    world.pass_time(days=2)
    assert len(world.sent()) == sent
    assert differences(world) == []


@one_store
def test_a_fall_that_was_missed_rests_and_joins_the_words_to_the_alert(world) -> None:
    world.pass_time(hours=1)
    world.reply("20 steady")
    correct(world, replace(STEADY, signs=frozenset({"fall"})))
    assert world.client.state == "resting"
    assert world.alerts()["fall"].urgency == "urgent"
    assert report(world).told["fall"] == "yes"
    assert differences(world) == []


@one_store
def test_a_text_that_was_not_understood_becomes_the_days_report(world) -> None:
    world.pass_time(hours=1)
    world.reply("qwerty zxcvb plugh")
    assert report(world) is None
    correct(world, Entered(practised="other"))
    assert report(world) is None  # nothing of practice: no report is made of it
    correct(world, STEADY)
    assert [hold["seconds"] for hold in report(world).told["holds"]] == [20]
    assert differences(world) == []
    # Later texts of the day are folded onto what was put right.
    world.reply("no, 15 wobbly")
    assert [hold["seconds"] for hold in report(world).told["holds"]] == [15]
    assert differences(world) == []


@one_store
def test_a_doubt_is_taken_back_only_after_the_trainer_handled_it(world) -> None:
    world.pass_time(hours=1)
    world.reply("felt a bit strange in the head")
    assert [alert.urgency for alert in world.alerts().values()] == ["today"]
    with pytest.raises(SignStillOpen):
        correct(world, STEADY)
    world.reply("yes")  # to "were you dizzy?"
    assert world.client.state == "resting"
    with pytest.raises(SignStillOpen):
        correct(world, Entered(practised="other"))
    handled(world, "dizziness")
    correct(world, Entered(practised="other"))
    assert report(world).told["dizzy"] == "no"  # the answer was no yes, as the trainer knows
    assert world.client.state == "active"
    assert differences(world) == []


@one_store
def test_only_a_read_text_of_the_client_within_two_weeks_can_be_put_right(world) -> None:
    world.pass_time(hours=1)
    world.reply("20 steady")
    said = last_said(world)
    out = world.sent()[-1].id
    with pytest.raises(NotFound):
        correct(world, STEADY, text=out)
    entry = enter(world).row.id
    with pytest.raises(NotFound):
        correct(world, STEADY, text=entry)
    world.pass_time(days=15)
    with pytest.raises(NotFound, match="14 days"):
        correct(world, STEADY, text=said)


# --- all of it together ---------------------------------------------------------------------------

ACTS = st.one_of(
    st.tuples(st.just("say"), st.sampled_from(("20 steady", "12 wobbly", "skipped", "I fell"))),
    st.tuples(
        st.just("enter"),
        st.integers(0, 9),
        st.builds(
            Entered,
            practised=st.sampled_from(("result", "skipped")),
            holds=st.sampled_from(((Hold(20),), (Hold(7),), ())),
            steadiness=st.sampled_from((None, "steady", "wobbly")),
            signs=st.sampled_from((frozenset(), frozenset(), frozenset({"dizziness"}))),
        ),
    ),
    st.tuples(st.just("correct"), st.sampled_from((STEADY, FELL, Entered(practised="skipped")))),
    st.just(("wait",)),
)


@one_store
@settings(
    max_examples=12,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(st.lists(ACTS, min_size=1, max_size=7))
def test_whatever_is_entered_and_put_right_replays_and_ends_no_rest(world, acts) -> None:
    world.pass_time(days=1, hours=1)
    rested = world.client.state == "resting"
    for what, *given_ in acts:
        try:
            if what == "say":
                world.reply(*given_)
            elif what == "enter":
                enter(world, given_[1], days_ago=given_[0])
            elif what == "correct":
                correct(world, *given_)
            else:
                world.pass_time(days=1)
        except (SignStillOpen, NotFound, ValueError):
            continue
        rested = rested or world.client.state == "resting"
        assert rested == (world.client.state == "resting")
        assert rested == (world.moves()[-1].kind == "rest" or world.moves()[-1].rule == "resting")
    assert differences(world) == []


@pytest.mark.parametrize("store", ["sqlite"], indirect=True)
@pytest.mark.parametrize(
    ("entered", "words"),
    [
        (STEADY, "Held 20 s, steady."),
        (Entered(holds=(Hold(20, "left"), Hold(9.5, "right"))), "Held left 20 s, right 9.5 s."),
        (Entered(), "Practised."),
        (Entered(practised="skipped", signs=frozenset({"pain"}), place="knee"),
         "Did not practise, pain: knee."),
        (Entered(practised="other"), "Nothing of practice or harm."),
    ],
)  # fmt: skip
def test_what_was_entered_is_kept_as_a_sentence(store, entered, words) -> None:
    del store
    assert entered_words(entered) == words
