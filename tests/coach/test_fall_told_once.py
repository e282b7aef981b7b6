"""The checklist after a fall tells the fall's facts, so that nobody is asked twice.

What is counted and how: Lamb et al. 2005 (ProFaNE), J Am Geriatr Soc 53:1618.
"""

from datetime import timedelta
from itertools import product

import pytest
from screened import unhurt
from sqlmodel import select

from rungwise.coach.plan.placement import Handling, handle
from rungwise.coach.record.fall_records import fall_records
from rungwise.coach.record.falls import falls_of
from rungwise.coach.record.situation import load
from rungwise.concepts.after_fall import BY_NAME, ITEMS, choices_of
from rungwise.concepts.fall_facts import FALL_FACTS, facts_told
from rungwise.errors import ImpossibleValue
from rungwise.store.tables import Alert, Client, Trainer


def test_every_answer_of_the_checklist_gives_facts_that_there_are():
    for item in ITEMS:
        for answer in choices_of(item):
            for name, code in facts_told({item.name: answer}, {}).items():
                assert code in FALL_FACTS[name].answers
    for name, fact in FALL_FACTS.items():
        assert not fact.item or set(fact.fits) <= set(choices_of(BY_NAME[fact.item])), name
        for codes in fact.fits.values():
            assert set(codes) <= {"", *fact.answers}


def test_the_checklist_tells_head_floor_standing_practising_care_and_no_injury():
    assert facts_told(unhurt(), {}) == {
        "head_struck": "no",
        "on_floor": "minute",
        "new_signs": "no",
        "stands_as_before": "yes",
        "injury": "none",
        "care": "seen",
    }
    worried = {**unhurt(), "practising": "yes", "floor": "helped", "stands": "unknown"}
    told = facts_told(worried, {})
    assert (told["doing"], told["on_floor"]) == ("practising", "longer")
    assert told["stands_as_before"] == "unsure"
    # Not standing as before may be an injury: nobody says which before somebody looked.
    assert "injury" not in told


@pytest.mark.parametrize("name", ["head", "new_signs", "stands", "back", "injury"])
def test_no_injury_is_never_made_of_a_worry(name):
    for answer in ("yes", "unknown"):
        assert "injury" not in facts_told({**unhurt(), name: answer}, {})


def test_what_is_asked_beside_is_finer_and_never_against_the_checklist():
    told = facts_told(unhurt(), {"care": "admitted", "place": "away", "injury": "minor"})
    assert (told["care"], told["place"], told["injury"]) == ("admitted", "away", "minor")
    for answers, beside in (
        ({"practising": "no"}, {"doing": "practising"}),
        ({"practising": "yes"}, {"doing": "stairs"}),
        ({"unseen": "yes"}, {"care": "admitted"}),
        ({"head": "yes"}, {"head_struck": "no"}),
    ):
        with pytest.raises(ImpossibleValue, match="fits the checklist"):
            facts_told({**unhurt(), **answers}, beside)


def test_no_answer_that_is_not_known_becomes_a_no():
    unknown = {item.name: "unknown" for item in ITEMS}
    told = facts_told(unknown, {})
    assert "no" not in told.values()
    assert "none" not in told.values()
    for name, answer in product(("head", "new_signs"), ("yes", "unknown")):
        fact = "head_struck" if name == "head" else name
        assert facts_told({name: answer}, {})[fact] != "no"


# --- kept with the handling -----------------------------------------------------------------------


def close(world, answers, **beside):
    with world.store.write() as session:
        client = session.get_one(Client, world.client_id)
        trainer = session.get_one(Trainer, world.trainer_id)
        rows = select(Alert).where(Alert.state != "handled").order_by(Alert.id.desc())
        for alert in session.exec(rows).all():
            handling = Handling("Phoned", after_fall=answers, fall=beside)
            handle(session, world.clock.now(), trainer, alert, load(session, client), handling)


def known(world):
    with world.store.read() as session:
        client = session.get_one(Client, world.client_id)
        since = world.clock.now() - timedelta(days=60)
        events = falls_of(session, [client], since).get(client.id, ())
        return events, fall_records(session, client.id)


def fell(world, words="I fell in the kitchen"):
    world.pass_time(hours=1)
    world.reply(words)
    world.reply("no")


def test_handling_a_fall_records_it_once_with_what_was_asked(world):
    fell(world)
    before, _ = known(world)
    close(world, unhurt(), place="home", doing="stairs")
    events, (row,) = known(world)
    assert [one.day for one in events] == [one.day for one in before]
    assert (row.head_struck, row.on_floor, row.care) == ("no", "minute", "seen")
    assert (row.place, row.doing, row.injury) == ("home", "stairs", "none")
    assert (events[0].injured, events[0].practising) == (False, False)
    assert row.alert_id is not None


def test_the_dates_that_the_trainer_heard_count(world):
    fell(world)
    day = world.clock.now().date() - timedelta(days=1)
    close(world, unhurt(), first=day.isoformat(), last=day.isoformat())
    ((event,), (row,)) = known(world)
    assert (event.first, event.last) == (day, day)
    assert row.first == day


def test_a_fall_told_again_after_it_was_handled_is_the_same_one_and_keeps_its_facts(world):
    fell(world)
    close(world, unhurt(), place="home")
    world.pass_time(days=1)
    world.reply("my wrist is sore from when I fell yesterday")
    close(world, {**unhurt(), "injury": "yes"}, injury="moderate")
    ((event,), (row,)) = known(world)
    assert (row.place, row.injury) == ("home", "moderate")
    assert event.injured is True


def test_two_falls_of_one_alert_are_both_kept(world):
    fell(world)
    world.pass_time(days=2)
    world.reply("fell again, in the garden")
    before, _ = known(world)
    assert len(before) == 2
    close(world, unhurt(), place="outside")
    events, rows = known(world)
    assert [one.day for one in events] == [one.day for one in before]
    assert sorted(row.place or "" for row in rows) == ["", "outside"]


def test_a_day_that_is_none_and_a_fact_that_is_none_are_refused(world):
    fell(world)
    for beside in ({"first": "yesterday"}, {"mood": "low"}, {"place": "the moon"}):
        with pytest.raises(ImpossibleValue):
            close(world, unhurt(), **beside)
    assert known(world)[1] == []
