"""The whole exchange on real SQLite: a text goes out, an answer comes in, and what follows."""

from datetime import timedelta

import pytest
from screened import unhurt
from sqlmodel import col, select

import rungwise.coach.daily.receive as receiving
from rungwise.carriers.base import InboundText
from rungwise.coach.alerting.alerts import see, words_of
from rungwise.coach.daily.receive import receive
from rungwise.coach.plan.placement import (
    Handling,
    NotSoHigh,
    StillOpen,
    handle,
    place_client,
    resume,
)
from rungwise.coach.record.situation import load
from rungwise.store.tables import Alert, Client, Message, Question, Report, Trainer
from rungwise.ticks.jobs import due_tick

pytestmark = pytest.mark.both_databases


def day_of(world, text):
    """One practice day: the prompt at nine, an answer an hour later, and on to the evening."""
    world.pass_time(hours=1)
    world.reply(text)
    world.pass_time(hours=23)


def test_consent_gives_one_first_text_and_then_a_prompt_at_the_local_hour(world):
    world.tick()
    assert [message.kind for message in world.sent()] == ["welcome"]
    world.pass_time(hours=1)
    prompt = world.sent("prompt")[0]
    # 09:00 in New York on 2026-03-02 is 14:00 UTC (tz database).
    assert prompt.created_at.isoformat() == "2026-03-02T14:00:00+00:00"
    assert prompt.rung_key == world.situation.placement.rung_key


def test_two_steady_days_move_up_one_rung_and_the_next_prompt_follows(world):
    ladder = world.situation.ladder
    first = world.situation.placement.rung_key
    day_of(world, "20 steady")
    assert world.situation.placement.rung_key == first
    day_of(world, "Steady, 20 secs")
    assert world.situation.placement.rung_key == ladder.above(first).key
    assert [move.kind for move in world.moves()] == ["override", "stay", "up"]
    world.pass_time(hours=1)
    assert world.sent("prompt")[-1].rung_key == ladder.above(first).key


def test_the_answer_says_what_was_understood(world):
    world.pass_time(hours=1)
    world.reply("twenty seconds, bit wobbly")
    answer = world.sent("answer")[-1].body
    assert "20 s" in answer
    assert "wobbly" in answer


def test_a_correction_replaces_the_day_and_decides_afresh(world):
    day_of(world, "20 steady")
    world.pass_time(hours=1)
    world.reply("20 steady")
    up = world.situation.placement.rung_key
    world.reply("no, 12")
    assert world.situation.placement.rung_key != up
    with world.store.read() as session:
        reports = session.exec(select(Report)).all()
    assert len([report for report in reports if report.superseded_at is None]) == 2
    assert len(reports) == 3
    assert "Corrected" in world.sent("answer")[-1].body


def test_a_fall_rests_at_once_whatever_else_was_said(world):
    day_of(world, "20 steady")
    world.pass_time(hours=1)
    world.reply("20 steady but fell in the kitchen")
    assert world.client.state == "resting"
    alert = world.alerts()["fall"]
    assert (alert.urgency, alert.state) == ("urgent", "new")
    assert world.moves()[-1].kind == "rest"
    assert "911" in world.sent("safety")[0].body
    assert len(world.pages()) >= 1
    before = len(world.sent("prompt"))
    world.pass_time(days=3)
    assert len(world.sent("prompt")) == before


def test_a_result_from_a_resting_client_moves_nothing_and_is_answered(world):
    world.pass_time(hours=1)
    world.reply("I fell")
    world.reply("No")
    rung = world.situation.placement.rung_key
    world.reply("20 steady")
    assert world.situation.placement.rung_key == rung
    assert world.client.state == "resting"
    assert "rest" in world.sent("safety")[-1].body


def test_a_near_fall_asks_once_tells_the_trainer_and_rests(world):
    world.pass_time(hours=1)
    world.reply("20 steady, nearly went over")
    assert world.alerts()["near_fall"].urgency == "today"
    assert [text.body[:24] for text in world.sent("safety")] == ["To be sure: did you fall"]
    assert world.client.state == "resting"
    before = len(world.sent("prompt"))
    world.pass_time(minutes=40)
    assert world.alerts()["near_fall"].urgency == "urgent"
    assert world.pages()
    world.pass_time(days=1)
    assert len(world.sent("prompt")) == before


@pytest.mark.parametrize("said", ["yes", "no"])
def test_no_answer_to_a_near_fall_lets_practice_go_on(world, said):
    world.pass_time(hours=1)
    world.reply("20 steady, nearly went over")
    world.reply(said)
    assert world.client.state == "resting"
    assert ("fall" in world.alerts()) is (said == "yes")
    assert world.sent("answer") == []
    world.pass_time(days=2)
    assert len(world.sent("prompt")) == 1


def test_a_near_fall_takes_back_the_days_move_up(world):
    day_of(world, "20 steady")
    first = world.situation.placement.rung_key
    world.pass_time(hours=1)
    world.reply("20 steady")
    assert world.situation.placement.rung_key != first
    world.reply("nearly fell at the counter afterwards, caught myself")
    assert world.situation.placement.rung_key == first
    assert world.moves()[-1].kind == "rest"


def test_no_to_a_doubt_lets_the_day_count(world):
    world.pass_time(hours=1)
    world.reply("20 steady, felt a bit strange in the head")
    assert world.client.state == "active"
    assert world.alerts()["dizziness"].urgency == "today"
    world.reply("no")
    assert world.moves()[-1].facts["verdict"] == "steady"


def test_answers_to_the_follow_up_join_the_alert(world):
    world.pass_time(hours=1)
    world.reply("my knee is sore")
    world.reply("6 left knee")
    alert = world.alerts()["pain"]
    assert "6 of 10" in alert.system_did
    with world.store.read() as session:
        assert [m.body for m in words_of(session, alert.id)] == ["my knee is sore", "6 left knee"]


def test_yes_i_am_hurt_names_the_emergency_number_and_pages_again(world):
    world.pass_time(hours=1)
    world.reply("I fell")
    pages = len(world.pages())
    world.pass_time(minutes=2)
    world.reply("yes")
    assert "911" in world.sent("safety")[-1].body
    assert len(world.pages()) > pages


def test_a_fall_and_pain_in_one_text_are_two_alerts_and_one_page(world):
    world.pass_time(hours=1)
    world.reply("I fell and my knee hurts")
    assert {"fall", "pain"} <= set(world.alerts())
    assert all(alert.paged_at is not None for alert in world.alerts().values())
    assert len(world.pages()) == 1


def test_stop_ends_texts_at_once_and_start_resumes(world):
    world.pass_time(hours=1)
    world.reply("STOP")
    assert world.client.state == "stopped"
    assert world.sent()[-1].kind == "opt_out"
    sent = len(world.sent())
    world.pass_time(days=2)
    assert len(world.sent()) == sent
    assert "opted_out" in world.alerts()
    world.reply("START")
    assert world.client.state == "active"
    world.pass_time(days=1)
    assert len(world.sent("prompt")) == 2


def test_a_queued_prompt_is_taken_back_by_stop(world):
    world.clock.advance(timedelta(hours=1))
    due_tick(world.store, world.clock)
    world.reply("stop")
    assert world.sent("prompt") == []


def test_start_does_not_end_a_rest(world):
    world.pass_time(hours=1)
    world.reply("I fell down")
    world.reply("STOP")
    world.reply("START")
    assert world.client.state == "resting"
    sent = len(world.sent("prompt"))
    world.pass_time(days=1)
    assert len(world.sent("prompt")) == sent


def test_a_fall_told_after_stop_still_pages_and_is_answered_once(world):
    world.pass_time(hours=1)
    world.reply("STOP")
    world.reply("I have fallen and can't get up")
    alert = world.alerts()["emergency"] if "emergency" in world.alerts() else world.alerts()["fall"]
    assert alert.urgency == "urgent"
    assert "911" in world.sent("safety")[-1].body
    world.reply("START")
    assert world.client.state == "resting"


def test_help_says_who_this_is_asks_and_tells_the_trainer(world):
    world.pass_time(hours=1)
    world.reply("HELP")
    answer = world.sent("help")[-1].body
    assert "Harbour Balance" in answer
    assert "hurt" in answer
    assert "911" in answer
    assert world.alerts()["help"].urgency == "today"
    world.reply("yes")
    assert world.client.state == "resting"
    assert any(alert.urgency == "urgent" for alert in world.alerts().values())


def test_a_near_fall_told_in_answer_to_help_is_asked_about(world):
    world.pass_time(hours=1)
    world.reply("HELP")
    world.reply("no but I nearly fell")
    assert "near_fall" in world.alerts()
    assert "did you fall" in world.sent("safety")[-1].body
    before = len(world.sent("prompt"))
    world.pass_time(days=1)
    assert len(world.sent("prompt")) == before


def test_a_result_after_help_still_counts_as_the_days_report(world):
    world.pass_time(hours=1)
    world.reply("HELP")
    world.reply("20 steady")
    with world.store.read() as session:
        report = session.exec(select(Report)).one()
    assert report.told["steadiness"] == "steady"
    # HELP wants its answer first: nothing of practice is said before.
    assert "Are you hurt" in world.sent("safety")[-1].body
    assert world.sent("answer") == []


def test_help_from_a_resting_client_is_urgent(world):
    world.pass_time(hours=1)
    world.reply("I fell")
    world.reply("no")
    world.reply("help")
    assert world.alerts()["help"].urgency == "urgent"
    assert world.client.state == "resting"


def test_missing_parts_are_asked_for_and_make_one_report(world):
    world.pass_time(hours=1)
    world.reply("20")
    assert "steady or wobbly" in world.sent("answer")[-1].body.lower()
    world.reply("steady")
    with world.store.read() as session:
        current = session.exec(select(Report).where(Report.superseded_at == None)).all()  # noqa: E711
    assert len(current) == 1
    assert current[0].told["steadiness"] == "steady"
    assert current[0].told["holds"] == [{"seconds": 20.0, "side": None}]


def test_a_text_that_nothing_understood_is_a_line_at_once_and_for_today_when_repeated(world):
    world.pass_time(hours=1)
    world.reply("xqz blorp")
    assert "goes to Tess Example" in world.sent("answer")[-1].body
    assert world.alerts()["unread"].urgency == "note"
    world.reply("zzkk qprt")
    assert world.alerts()["unread"].urgency == "today"


def test_a_question_is_kept_for_the_trainer(world):
    world.pass_time(hours=1)
    world.reply("Will the hall be open on Thursday?")
    assert world.alerts()["request"].urgency == "note"
    assert "Tess Example" in world.sent("answer")[-1].body


def test_three_prompts_without_a_word_are_an_alert_once(world):
    world.pass_time(days=3, hours=2)
    assert world.alerts()["silence"].urgency == "today"
    assert len(world.sent("prompt")) == 4


def test_a_week_away_goes_back_a_landmark_and_three_weeks_rest(world):
    with world.store.write() as session:
        trainer = session.get_one(Trainer, world.trainer_id)
        situation = load(session, session.get_one(Client, world.client_id))
        tandem = next(r for r in situation.ladder.rungs if r.landmark == "tandem")
        place_client(session, world.clock.now(), trainer, situation, tandem.key, "visit")
    world.pass_time(days=8)
    back = [move for move in world.moves() if move.rule == "away_back"]
    assert len(back) == 1
    assert back[0].to_key == world.situation.ladder.landmark_below(tandem.key).key
    world.pass_time(days=14)
    assert world.client.state == "resting"
    assert world.alerts()["away"].urgency == "today"


def test_a_repeat_of_the_carriers_id_changes_nothing(world):
    world.pass_time(hours=1)
    world.reply("20 steady", carrier_id="same")
    world.reply("20 steady", carrier_id="same")
    with world.store.read() as session:
        assert len(session.exec(select(Message).where(Message.direction == "in")).all()) == 1


def test_the_same_words_with_another_id_within_a_minute_are_kept_and_not_decided_twice(world):
    world.pass_time(hours=1)
    world.reply("20 steady")
    moves = len(world.moves())
    world.reply("20 steady")
    assert len(world.moves()) == moves
    with world.store.read() as session:
        rows = select(Message).where(Message.direction == "in").order_by(col(Message.id))
        states = [message.state for message in session.exec(rows).all()]
    assert states == ["read", "repeat"]


def test_yes_twice_within_a_minute_answers_two_safety_questions(world):
    world.pass_time(hours=1)
    world.reply("20 but I nearly went over")
    world.reply("yes")
    world.reply("yes")
    with world.store.read() as session:
        hurt = session.exec(select(Question).where(Question.kind == "hurt")).one()
    assert hurt.answered_at is not None


def test_a_strangers_text_is_kept_and_answered_once_a_day(world):
    for each in ("a", "b"):
        with world.store.write() as session:
            inbound = InboundText(each, "+12025550199", "+12025550100", "hello?")
            receive(session, world.clock.now(), "handset", inbound)
    with world.store.read() as session:
        aside = session.exec(select(Message).where(Message.state == "set_aside")).all()
        texts = session.exec(select(Message)).all()
    answers = [text for text in texts if text.to_phone == "+12025550199"]
    assert (len(aside), len(answers)) == (2, 1)


def test_handling_a_fall_resumes_only_at_most_where_the_client_was(world, trainer):
    day_of(world, "20 steady")
    day_of(world, "20 steady")
    world.pass_time(hours=1)
    world.reply("I fell")
    world.reply("no")
    situation = world.situation
    here = situation.placement.rung_key
    with world.store.write() as session:
        alert = session.exec(select(Alert).where(Alert.kind == "fall")).one()
        situation = load(session, session.get_one(Client, world.client_id))
        higher = situation.ladder.above(here).key
        with pytest.raises(NotSoHigh), session.begin_nested():
            handle(
                session,
                world.clock.now(),
                trainer,
                alert,
                situation,
                Handling("Phoned", "", higher, unhurt()),
            )
    with world.store.write() as session:
        alert = session.exec(select(Alert).where(Alert.kind == "fall")).one()
        situation = load(session, session.get_one(Client, world.client_id))
        handling = Handling("Phoned, not hurt", "", situation.ladder.rungs[0].key, unhurt())
        handle(session, world.clock.now(), trainer, alert, situation, handling)
    assert world.client.state == "active"
    world.tick()
    assert "practice again" in world.sent()[-1].body
    world.pass_time(days=1)
    assert world.sent("prompt")[-1].rung_key == world.situation.ladder.rungs[0].key


def test_a_client_is_not_resumed_while_another_safety_alert_is_open(world, trainer):
    world.pass_time(hours=1)
    world.reply("I fell and my knee hurts")
    assert {"fall", "pain"} <= set(world.alerts())
    with world.store.write() as session:
        situation = load(session, session.get_one(Client, world.client_id))
        key = situation.placement.rung_key
        with pytest.raises(StillOpen):
            resume(session, world.clock.now(), trainer, situation, key, "fine")


def test_an_override_is_followed_by_the_right_prompt_and_restarts_the_run(world, trainer):
    day_of(world, "20 steady")
    with world.store.write() as session:
        situation = load(session, session.get_one(Client, world.client_id))
        target = situation.ladder.rungs[4].key
        place_client(session, world.clock.now(), trainer, situation, target, "Steady at the visit")
    day_of(world, "20 steady")
    assert world.sent("prompt")[-1].rung_key == target
    assert world.situation.placement.rung_key == target


def test_pages_are_repeated_to_the_second_contact_until_somebody_looks(world, trainer):
    world.pass_time(hours=1)
    world.reply("I fell")
    first = len(world.pages())
    world.pass_time(minutes=15)
    to = {page.to_phone for page in world.pages()}
    assert to == {"+12025550101", "+12025550102"}
    assert len(world.pages()) > first
    with world.store.write() as session:
        alert = session.exec(select(Alert).where(Alert.kind == "fall")).one()
        see(session, world.clock.now(), trainer, alert)
    seen = len(world.pages())
    world.pass_time(minutes=25)
    assert len(world.pages()) == seen
    # Opened and then forgotten is as bad as never opened.
    world.pass_time(minutes=10)
    assert len(world.pages()) > seen
    with world.store.write() as session:
        alert = session.exec(select(Alert).where(Alert.kind == "fall")).one()
        handle(
            session,
            world.clock.now(),
            trainer,
            alert,
            None,
            Handling("phoned", after_fall=unhurt()),
        )
    handled = len(world.pages())
    world.pass_time(hours=5)
    assert len(world.pages()) == handled


def test_a_prompt_missed_by_more_than_two_hours_is_recorded_and_the_next_one_goes(world):
    world.clock.advance(timedelta(hours=4))
    world.tick()
    assert world.sent("prompt") == []
    with world.store.read() as session:
        missed = session.exec(select(Message).where(Message.state == "missed")).one()
    assert missed.local_date.isoformat() == "2026-03-02"
    world.pass_time(days=1)
    assert len(world.sent("prompt")) == 1


def test_a_late_answer_belongs_to_yesterday(world):
    world.pass_time(hours=22)
    world.reply("20 steady")
    with world.store.read() as session:
        report = session.exec(select(Report)).one()
    assert report.local_date.isoformat() == "2026-03-02"
    assert "Monday" in world.sent("answer")[-1].body


def test_what_fails_inside_is_kept_told_and_tried_again(world, monkeypatch):
    world.pass_time(hours=1)
    working = receiving.read

    def broken(*_args):
        raise RuntimeError("broken on purpose")

    monkeypatch.setattr(receiving, "read", broken)
    world.reply("I fell in the bath")
    with world.store.read() as session:
        kept = session.exec(select(Message).where(Message.state == "unprocessed")).one()
    assert kept.body == "I fell in the bath"
    assert world.alerts()["unread"].urgency == "urgent"
    monkeypatch.setattr(receiving, "read", working)
    world.pass_time(minutes=20)
    assert world.client.state == "resting"
    assert "fall" in world.alerts()
