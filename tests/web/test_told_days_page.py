"""The pages for a day told by phone and for a text that was read wrong."""

import re
from datetime import timedelta

import pytest
from screened import UNHURT_FORM
from sqlmodel import col, select
from web_world import SignedIn, World

from rungwise.coach.record.told import corrections_of
from rungwise.coach.rule.replay import replay
from rungwise.store.tables import Client, Message, Report


def address(world: World, more: str = "") -> str:
    return f"/clients/{world.clients['ada']}{more}"


def version(page: str) -> str:
    found = re.search(r'name="version" value="(\d+)"', page)
    assert found, page[:500]
    return found[1]


def filled(page: str, **changed: object) -> dict[str, object]:
    """The form as the page shows it, with some of it changed."""
    texts = dict(re.findall(r'<input id="(\w+)" name="\1" type="\w+" value="([^"]*)"', page))
    chosen = dict(re.findall(r'type="radio" name="(\w+)" value="([^"]*)" checked', page))
    ticked = re.findall(r'name="signs" value="(\w+)" checked', page)
    return {"version": version(page), **texts, **chosen, "signs": ticked, **changed}


def reports(world: World) -> list[Report]:
    with world.store.read() as session:
        rows = select(Report).where(
            Report.client_id == world.clients["ada"], col(Report.superseded_at).is_(None)
        )
        return list(session.exec(rows.order_by(col(Report.local_date))).all())


def last_in(world: World) -> int:
    with world.store.read() as session:
        rows = select(Message.id).where(
            Message.client_id == world.clients["ada"], Message.direction == "in"
        )
        return max(session.exec(rows).all())


def ada(world: World) -> Client:
    return world.client("ada")


def signed_in(world: World) -> SignedIn:
    return world.signed_in()


def test_a_day_is_entered_in_few_presses_and_stands_in_the_thread(world: World) -> None:
    world.pass_time(hours=2)
    browser = signed_in(world)
    assert 'href="' + address(world, "/day") in browser.page(address(world))
    page = browser.page(address(world, "/day"))
    before = len(reports(world))
    # A press on the client's page, one on "steady", one to enter: the day is filled in already.
    done = browser.post(address(world, "/day"), **filled(page, held="20", steadiness="steady"))
    assert done.status_code == 303
    assert done.headers["location"].startswith(address(world))
    assert len(reports(world)) == before + 1
    shown = browser.page(address(world))
    assert "Told by phone" in shown
    assert "Entered by Tess Example" in shown
    assert "Held 20 s, steady." in shown
    assert "Entered a day" in shown
    with world.store.read() as session:
        assert list(replay(session)) == []


def test_looking_first_says_what_follows_and_stores_nothing(world: World) -> None:
    world.pass_time(hours=2)
    browser = signed_in(world)
    page = browser.page(address(world, "/day"))
    before = len(reports(world))
    form = filled(page, signs=["fall"], by="visit", step="look")
    answer = browser.post(address(world, "/day"), **form)
    assert answer.status_code == 200
    for words in ("rests: no prompts", "Alert: Fall (urgent)", "Nothing is sent to Ada"):
        assert words in answer.text, words
    assert len(reports(world)) == before
    assert ada(world).state == "active"


def test_a_fall_entered_leads_to_its_alert_and_texts_only_with_the_tick(world: World) -> None:
    world.pass_time(hours=2)
    browser = signed_in(world)
    sent = len(world.sent("ada"))
    page = browser.page(address(world, "/day"))
    done = browser.post(address(world, "/day"), **filled(page, signs=["fall"]))
    assert re.fullmatch(r"/alerts/\d+", done.headers["location"])
    alert = browser.page(done.headers["location"])
    assert "A fall." in alert
    assert "Told by phone, entered by a trainer" in alert
    world.tick()
    assert len(world.sent("ada")) == sent
    page = browser.page(address(world, "/day"))
    browser.post(address(world, "/day"), **filled(page, signs=["dizziness"], texts_client="yes"))
    world.tick()
    assert world.sent("ada")[sent].name == "safety_dizzy"


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"held": "twenty"}, "a number from 0 to 600"),
        ({"held": "20", "left": "12"}, "left and right"),
        ({"day": "2026-99-01", "held": "20"}, "a date such as"),
        ({"day": "2020-01-01", "held": "20"}, "the last two weeks"),
        ({"signs": ["broken"]}, "among"),
        ({"practice": "skipped", "held": "20"}, "they practised"),
        ({}, "seconds held"),
        ({"held": "20", "by": "letter"}, "phone or visit"),
    ],
)
def test_what_cannot_be_is_said_beside_the_field_and_kept(
    world: World, given: dict[str, object], told: str
) -> None:
    browser = signed_in(world)
    page = browser.page(address(world, "/day"))
    before = len(reports(world))
    answer = browser.post(address(world, "/day"), **filled(page, **given))
    assert answer.status_code == 400
    assert told in answer.text
    assert len(reports(world)) == before


def test_the_same_form_twice_enters_one_day(world: World) -> None:
    world.pass_time(hours=2)
    browser = signed_in(world)
    form = filled(browser.page(address(world, "/day")), held="20")
    assert browser.post(address(world, "/day"), **form).status_code == 303
    assert browser.post(address(world, "/day"), **form).status_code == 409


def test_nobody_elses_client_can_be_told_of(world: World) -> None:
    omar = world.signed_in("omar")
    assert omar.get(address(world, "/day")).status_code == 404
    world.reply("ada", "20 steady")
    reading = address(world, f"/texts/{last_in(world)}/reading")
    assert omar.get(reading).status_code == 404


def test_a_text_read_wrong_is_put_right_from_itself(world: World) -> None:
    world.pass_time(hours=2)
    world.reply("ada", "20 steady")
    browser = signed_in(world)
    reading = address(world, f"/texts/{last_in(world)}/reading")
    assert reading in browser.page(address(world))
    page = browser.page(reading)
    form = filled(page)
    assert form["held"] == "20"
    assert form["steadiness"] == "steady"
    done = browser.post(reading, **filled(page, held="12"))
    assert done.status_code == 303
    assert [hold["seconds"] for hold in reports(world)[-1].told["holds"]] == [12]
    shown = browser.page(address(world))
    assert "Read wrong, put right" in shown
    with world.store.read() as session:
        assert last_in(world) in corrections_of(session, [last_in(world)])
        assert list(replay(session)) == []


def test_a_sign_goes_only_after_its_alert_was_handled(world: World) -> None:
    world.pass_time(hours=2)
    world.reply("ada", "I fell")
    browser = signed_in(world)
    reading = address(world, f"/texts/{last_in(world)}/reading")
    page = browser.page(reading)
    assert filled(page)["signs"] == ["fall"]
    alert = world.alerts("ada", "new")[-1]
    assert f"/alerts/{alert.id}" in page
    refused = browser.post(reading, **filled(page, signs=[], held="20", steadiness="steady"))
    assert refused.status_code == 400
    assert "Handle the alert first" in refused.text
    browser.post(f"/alerts/{alert.id}/handle", quick="Phoned: all is well", **UNHURT_FORM)
    page = browser.page(reading)
    done = browser.post(reading, **filled(page, signs=[], held="20", steadiness="steady"))
    assert done.status_code == 303
    assert reports(world)[-1].told["fall"] == "no"
    assert ada(world).state == "resting"  # nothing here ends a rest


def test_a_text_of_long_ago_is_not_put_right(world: World) -> None:
    world.pass_time(hours=2)
    world.reply("ada", "20 steady")
    reading = address(world, f"/texts/{last_in(world)}/reading")
    world.clock.set(world.clock.now() + timedelta(days=16))
    browser = signed_in(world)
    assert "Read wrong?" not in browser.page(address(world))
    assert browser.get(reading).status_code == 404
