"""What is asked after a fall, what follows, and what holds practice until it is there.

The items and what each does are those of section 5 of the safety table: NICE CG176 (helplines),
World Falls Guidelines 2022 table 2, Fleming & Brayne 2008, Lamb et al. 2005, else common practice.
"""

from datetime import date, timedelta
from itertools import product

import pytest
from screened import harmless, unhurt
from sqlmodel import select

from rungwise.coach.enrolment.intake import screen_again
from rungwise.coach.plan.placement import ALandmarkLower, Handling, StillOpen, handle, resume
from rungwise.coach.record.after_fall import (
    ChecklistFirst,
    NotBefore,
    ScreenFirst,
    Word,
    WordFirst,
    record_word,
)
from rungwise.coach.record.clearance import AskFirst
from rungwise.coach.record.falls import falls_of
from rungwise.coach.record.situation import load
from rungwise.concepts.after_fall import BY_NAME, ITEMS, choices_of, follows, worries
from rungwise.errors import ImpossibleValue
from rungwise.store.tables import Alert, Client, FallCheck, Incident, Trainer

# Items whose yes or not known asks for a clinician's word, for the screening anew, and where to go.
WORD = {
    *("head", "thinner", "blackout", "new_signs", "floor", "stands", "back", "injury"),
    "unexplained",
}
SCREENS = {"blackout", "floor", "unexplained", "second", "changed"}
GO = {
    "thinner": "emergency department",
    "blackout": "emergency department",
    "new_signs": "ambulance",
    "floor": "seen today",
    "stands": "emergency department",
}
WORRYING = [
    (item.name, value)
    for item in ITEMS
    for value in choices_of(item)
    if worries({item.name: value}, item.name)
]


def test_nothing_is_answered_beforehand_and_every_item_is_asked():
    left = follows({}, {"fall"})
    assert left.missing == tuple(item.name for item in ITEMS)
    assert follows(None, {"fall"}).missing == left.missing
    assert follows(None, {"pain"}).missing == ()


def test_only_a_head_that_was_surely_not_hit_leaves_its_question_out():
    for head, asked in (("no", False), ("yes", True), ("unknown", True)):
        missing = follows({"head": head}, {"fall"}).missing
        assert ("thinner" in missing) is asked


def test_the_harmless_answers_ask_for_nothing():
    found = follows(unhurt(), {"fall"})
    assert (found.missing, found.word, found.screens, found.go, found.do) == ((), (), (), None, ())


@pytest.mark.parametrize(("name", "value"), WORRYING)
def test_a_yes_and_a_not_known_do_the_same(name, value):
    answers = {**unhurt(), name: value}
    if BY_NAME[name].only_if:
        answers[BY_NAME[name].only_if] = "yes"
    found = follows(answers, {"fall"})
    assert bool(found.word) == (name in WORD)
    assert bool(found.screens) == (name in SCREENS)
    assert found.go == GO.get(name)
    assert found.visit is (name == "practising")


def test_no_answer_makes_what_follows_milder():
    """Whatever else is answered, one more worry never takes a demand away."""
    for (one, first), (other, second) in product(WORRYING, WORRYING):
        alone = follows({**unhurt(), "head": "yes", one: first}, {"fall"})
        both = follows({**unhurt(), "head": "yes", one: first, other: second}, {"fall"})
        assert bool(both.word) >= bool(alone.word)
        assert bool(both.screens) >= bool(alone.screens)
        assert (both.go is not None) >= (alone.go is not None)


def test_the_gravest_place_to_be_seen_counts():
    answers = {**unhurt(), "floor": "helped", "stands": "yes", "new_signs": "unknown"}
    assert follows(answers, {"fall"}).go == "ambulance"
    del answers["new_signs"]
    assert follows(answers, {"fall"}).go == "emergency department"


def test_what_was_told_by_text_counts_whatever_is_ticked():
    assert follows(unhurt(), {"fall", "emergency"}).word
    assert follows(unhurt(), {"fall", "pain"}).word
    assert not follows(None, {"pain"}).word
    assert follows(None, {"emergency"}).word
    assert follows(None, {"health_news"}).screens
    assert follows(unhurt(), {"fall"}, falls_in_year=2).screens
    assert not follows(unhurt(), {"fall"}, falls_in_year=1).screens


# --- what holds practice --------------------------------------------------------------------------


def close(world, answers=None, *, resume=True, what="Phoned", misread=False, key=None):
    """Handle everything that is open, and let practice go on where it was."""
    with world.store.write() as session:
        situation = load(session, session.get_one(Client, world.client_id))
        trainer = session.get_one(Trainer, world.trainer_id)
        rows = select(Alert).where(Alert.state != "handled").order_by(Alert.id.desc())
        alerts = session.exec(rows).all()
        for alert in alerts:
            here = key or situation.placement.rung_key
            to = here if resume and alert is alerts[-1] else None
            handling = Handling(what, "", to, answers if alert is alerts[0] else None, misread)
            handle(session, world.clock.now(), trainer, alert, situation, handling)


def go_on(world, key=None):
    """End the rest by hand, as from the client's page."""
    with world.store.write() as session:
        situation = load(session, session.get_one(Client, world.client_id))
        trainer = session.get_one(Trainer, world.trainer_id)
        to = key or situation.placement.rung_key
        resume(session, world.clock.now(), trainer, situation, to, "Seen.")


def say_word(world, allows=True, from_day=None, **more):
    with world.store.write() as session:
        incident = session.exec(select(Incident).order_by(Incident.id.desc())).first()
        trainer = session.get_one(Trainer, world.trainer_id)
        today = world.clock.now().date()
        word = Word(
            "Dr Sample, physician", today, "call", "Hip and head", allows, from_day or today
        )
        record_word(session, world.clock.now(), trainer, incident, word)


def fell(world, *more):
    world.pass_time(hours=1)
    for words in ("I fell", "no", *more):
        world.reply(words)


def test_a_fall_is_not_closed_without_its_checklist(world):
    fell(world)
    with pytest.raises(ChecklistFirst):
        close(world, resume=False)
    with pytest.raises(ChecklistFirst, match="head hit"):
        close(world, {name: value for name, value in unhurt().items() if name != "head"})
    assert world.alerts()["fall"].state == "new"
    close(world, unhurt())
    assert world.client.state == "active"
    with world.store.read() as session:
        assert session.exec(select(FallCheck)).one().answers == unhurt()


def test_an_answer_that_no_item_has_is_refused(world):
    fell(world)
    with pytest.raises(ImpossibleValue):
        close(world, {**unhurt(), "head": "maybe"})
    with pytest.raises(ImpossibleValue):
        close(world, {**unhurt(), "mood": "no"})


@pytest.mark.parametrize("name", sorted(WORD))
def test_practice_rests_until_a_clinicians_word_allows_it(world, name):
    fell(world)
    answers = {**unhurt(), "head": "yes", name: "unknown"}
    with pytest.raises(WordFirst):
        close(world, answers)
    close(world, answers, resume=False)
    with pytest.raises(WordFirst):
        go_on(world)
    say_word(world, allows=False)
    with pytest.raises(WordFirst):
        go_on(world)
    assert world.client.state == "resting"
    screened_again(world)
    tomorrow = world.clock.now().date() + timedelta(days=1)
    say_word(world, from_day=tomorrow)
    with pytest.raises(NotBefore):
        go_on(world)
    world.pass_time(days=1, hours=6)
    go_on(world)
    assert world.client.state == "active"


def test_a_word_by_text_that_the_doctor_says_so_is_no_word(world):
    fell(world)
    close(world, {**unhurt(), "stands": "yes"}, resume=False)
    world.reply("the doctor says I am fine to go on")
    with pytest.raises((WordFirst, StillOpen)):
        go_on(world)


def test_being_hurt_as_told_by_text_needs_a_word_too(world):
    world.pass_time(hours=1)
    world.reply("I fell")
    world.reply("yes I am hurt")
    with pytest.raises(WordFirst):
        close(world, unhurt())


def screened_again(world, **other):
    with world.store.write() as session:
        client = session.get_one(Client, world.client_id)
        trainer = session.get_one(Trainer, world.trainer_id)
        screen_again(session, world.clock.now(), trainer, client, {**harmless(), **other})


def test_a_second_fall_in_a_year_asks_for_the_screening_anew(world):
    fell(world)
    close(world, unhurt())
    world.pass_time(days=20)
    fell(world)
    with pytest.raises(ScreenFirst):
        close(world, unhurt())
    close(world, unhurt(), resume=False)
    screened_again(world)
    go_on(world)
    assert world.client.state == "active"


def test_a_screening_anew_that_asks_first_is_answered_by_the_same_word(world):
    fell(world)
    close(world, {**unhurt(), "second": "yes"}, resume=False)
    screened_again(world, dizzy="yes")
    with pytest.raises(AskFirst):
        go_on(world)
    say_word(world)
    go_on(world)
    assert world.client.state == "active"


def test_a_fall_while_practising_goes_on_a_landmark_lower_at_most(world):
    for _ in range(4):
        world.pass_time(hours=1)
        world.reply("20 steady")
        world.pass_time(hours=23)
    fell(world)
    situation = world.situation
    here = situation.placement.rung_key
    lower = situation.ladder.landmark_below(here).key
    assert lower != here
    with pytest.raises(ALandmarkLower):
        close(world, {**unhurt(), "practising": "yes"})
    close(world, {**unhurt(), "practising": "yes"}, key=lower)
    assert world.situation.placement.rung_key == lower


def test_misread_words_are_no_fall_and_ask_for_nothing(world):
    fell(world)
    close(world, misread=True, what="It was her phone that fell")
    assert world.client.state == "active"
    with world.store.read() as session:
        assert session.exec(select(FallCheck)).all() == []
        client = session.get_one(Client, world.client_id)
        year = falls_of(session, [client], world.clock.now() - timedelta(days=365))
        assert year.get(client.id, ()) == ()


def test_one_incident_asks_nothing_of_the_next(world):
    fell(world)
    close(world, {**unhurt(), "back": "yes"}, resume=False)
    say_word(world)
    go_on(world)
    world.pass_time(hours=2)
    world.reply("my knee hurts")
    close(world)
    assert world.client.state == "active"


def test_a_clinicians_word_must_say_who_when_how_what_and_from_when(world):
    fell(world)
    close(world, {**unhurt(), "back": "yes"}, resume=False)
    today = world.clock.now().date()
    for word in (
        Word("", today, "call", "Back", True, today),
        Word("Dr Sample", today, "hearsay", "Back", True, today),
        Word("Dr Sample", today, "call", " ", True, today),
        Word("Dr Sample", today, "call", "Back", True, None),
        Word("Dr Sample", today + timedelta(days=9), "call", "Back", True, today),
        Word("Dr Sample", date(2026, 3, 2), "", "Back", False),
    ):
        with world.store.write() as session:
            incident = session.exec(select(Incident)).one()
            trainer = session.get_one(Trainer, world.trainer_id)
            with pytest.raises(ImpossibleValue):
                record_word(session, world.clock.now(), trainer, incident, word)
