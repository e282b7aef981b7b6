"""One client's falls: asked, answered, missing, told twice, recorded and put right."""

from datetime import datetime

import pytest
from web_world import SignedIn, World

from rungwise.coach.record.fall_records import fall_records
from rungwise.concepts.fall_facts import FALL_FACTS
from rungwise.store.tables import Client


@pytest.fixture
def browser(world: World) -> SignedIn:
    return world.signed_in("tess")


def falls_at(world: World, who: str = "ada") -> str:
    return f"/clients/{world.clients[who]}/falls"


def record(world: World, browser: SignedIn, **fields: str):
    given = {"first": "2026-03-01", "last": "", **fields}
    return browser.post(falls_at(world), **given)


def at(world: World, when: str) -> None:
    world.clock.set(datetime.fromisoformat(when))
    world.tick()


def test_asked_answered_and_missed_are_told_apart(world: World, browser: SignedIn) -> None:
    assert "Not asked yet." in browser.page(falls_at(world))
    world.tick()
    at(world, "2026-03-08T17:00:00-04:00")
    world.reply("ada", "no")
    at(world, "2026-03-09T17:30:00-04:00")
    page = browser.page(falls_at(world))
    assert "<td>no fall</td>" in page
    assert "0 times without an answer" in page
    at(world, "2026-03-15T17:00:00-04:00")
    at(world, "2026-03-16T17:30:00-04:00")
    page = browser.page(falls_at(world))
    assert "<td>none came</td>" in page
    assert "1 time without an answer" in page
    assert "is asked every week" in page


def test_a_fall_told_twice_stands_there_once(world: World, browser: SignedIn) -> None:
    world.reply("ada", "I fell in the kitchen")
    world.pass_time(days=1)
    world.reply("ada", "still bruised from when I fell yesterday")
    page = browser.page(falls_at(world))
    assert page.count('<article class="sheet result"') == 1
    assert "Told 2 times by text" in page


def test_a_fall_that_no_text_told_is_recorded_and_put_right(
    world: World, browser: SignedIn
) -> None:
    facts = {"place": "away", "injury": "moderate", "care": "seen"}
    answer = record(world, browser, note="Told on the phone.", **facts)
    assert (answer.status_code, answer.headers["location"]) == (303, falls_at(world))
    page = browser.page(falls_at(world))
    assert "Told on the phone." in page
    for name, code in facts.items():
        assert FALL_FACTS[name].answers[code] in page
    with world.store.read() as session:
        (row,) = fall_records(session, world.clients["ada"])
    record(world, browser, record=str(row.id), injury="none", happened="yes")
    record(world, browser, record=str(row.id), happened="no")
    page = browser.page(falls_at(world))
    assert "No fall is known." in page
    assert "turned out to be none: Sun 1 Mar 2026" in page


@pytest.mark.parametrize(
    "fields", [{"first": ""}, {"first": "2030-01-01"}, {"injury": "dreadful"}, {"last": "x"}]
)
def test_what_cannot_be_is_told_and_what_was_filled_in_stays(
    world: World, browser: SignedIn, fields: dict[str, str]
) -> None:
    answer = record(world, browser, **{"note": "Kept words", **fields})
    assert answer.status_code == 400
    assert 'role="alert"' in answer.text
    assert "Kept words" in answer.text


def test_nobody_elses_falls(world: World, browser: SignedIn) -> None:
    assert record(world, browser, record="99").status_code == 404
    other = falls_at(world, "cy")
    with world.store.read() as session:
        theirs = session.get_one(Client, world.clients["cy"]).trainer_id
    assert theirs != world.trainers["tess"]
    assert browser.get(other).status_code == 404
    assert browser.post(other, first="2026-03-01").status_code == 404
