"""A client's second phones and the hour of the text, changed among the facts."""

import html
from datetime import time, timedelta

import pytest
from editing import differences, stored
from sqlmodel import select
from test_facts_page import SOMEWHERE, form_of, look, page_of, save, text_from
from web_world import World

from rungwise.coach.daily.new_phone import asked_of
from rungwise.coach.enrolment.second_phones import MOST, SOMEBODY, read_phones
from rungwise.coach.record.situation import load
from rungwise.errors import ImpossibleValue
from rungwise.store.tables import Client, ClientPhone, PlanRow, Stranger

DAUGHTER = "+12025550119"
SON = "+12025550120"
TWO = f"{DAUGHTER} daughter; {SON} son"


def phones_of(world: World) -> dict[str, str]:
    with world.store.read() as session:
        rows = session.exec(select(ClientPhone)).all()
        return {row.phone: row.whose for row in rows}


@pytest.mark.parametrize(
    ("words", "found"),
    [
        ("", {}),
        ("202 555 0119 daughter", {DAUGHTER: "daughter"}),
        ("(202) 555-0119, her  daughter Jo\r\n+1 202 555 0120: son", {DAUGHTER: "her daughter Jo"}),
        ("202.555.0119", {DAUGHTER: SOMEBODY}),
        (TWO, {DAUGHTER: "daughter", SON: "son"}),
    ],
)
def test_numbers_are_read_as_people_write_them(words: str, found: dict[str, str]) -> None:
    read = read_phones(words, "US")
    assert {**read, **found} == read
    assert read_phones("; ".join(f"{one} {whose}" for one, whose in read.items()), "US") == read


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ("daughter", "such as 202 555 0119 daughter"),
        ("12 daughter", "a telephone number"),
        ("202 555 0119 own", "somebody else's"),
        ("; ".join(f"+120255501{20 + one}" for one in range(MOST + 1)), f"{MOST} at most"),
    ],
)
def test_what_is_no_list_of_phones_is_refused(words: str, says: str) -> None:
    with pytest.raises(ImpossibleValue, match=says):
        read_phones(words, "US")


def test_a_phone_is_given_changed_and_taken_away(world: World) -> None:
    browser = world.signed_in()
    page = look(world, browser, second_phones="202 555 0119 daughter")
    assert f"{DAUGHTER} (daughter): harm told from it counts as Ada's." in page
    assert phones_of(world) == {}
    save(world, browser, second_phones="202 555 0119 daughter")
    text_from(world, DAUGHTER, "mum fell in the kitchen")
    assert world.client("ada").state == "resting"
    save(world, browser, second_phones=f"{DAUGHTER} her son Jo")
    assert phones_of(world) == {DAUGHTER: "her son Jo"}
    save(world, browser, second_phones=f"{SON} her son Jo")
    assert phones_of(world) == {SON: "her son Jo"}
    assert f"{SON} her son Jo</textarea>" in browser.page(page_of(world))
    page = look(world, browser, second_phones="")
    assert f"{SON} is a second phone no more" in page
    save(world, browser, second_phones="")
    assert phones_of(world) == {}
    text_from(world, SON, "mum fell in the kitchen")
    with world.store.read() as session:
        assert session.exec(select(Stranger)).one().phone == SON
    assert differences(world) == []


def test_an_unknown_number_that_told_of_harm_is_the_clients_once_it_is_given(world: World) -> None:
    text_from(world, DAUGHTER, "mum fell in the kitchen")
    assert world.client("ada").state == "active"
    browser = world.signed_in()
    assert "what it told of harm counts now" in look(
        world, browser, second_phones=f"{DAUGHTER} daughter"
    )
    save(world, browser, second_phones=f"{DAUGHTER} daughter")
    assert world.client("ada").state == "resting"
    assert [alert.kind for alert in world.alerts("ada")] == ["fall"]
    assert DAUGHTER not in browser.page("/unknown-numbers")


def test_a_phone_that_is_somebody_elses_or_asked_is_refused(world: World) -> None:
    browser = world.signed_in()
    theirs = world.client("bo").phone
    own = world.client("ada").phone
    save(world, browser, phone=SOMEWHERE)
    for number, says in (
        (theirs, "no other client of the practice has"),
        (own, "where their texts go already"),
        (SOMEWHERE, "asked whether it is theirs"),
    ):
        form = {**form_of(world, browser), "second_phones": f"{number} daughter"}
        answer = browser.post(page_of(world), **form)
        assert answer.status_code == 400
        assert says in html.unescape(answer.text)
    assert stored(world)["second_phones"] == ""


def test_a_second_phone_that_was_asked_to_be_theirs_is_asked_no_more(world: World) -> None:
    browser = world.signed_in()
    save(world, browser, second_phones=f"{DAUGHTER} daughter")
    save(world, browser, phone=DAUGHTER)
    with world.store.read() as session:
        assert asked_of(session, world.clients["ada"]) is not None
    save(world, browser, phone=world.client("ada").phone, second_phones="")
    with world.store.read() as session:
        assert asked_of(session, world.clients["ada"]) is None
    world.pass_time(days=3)
    assert "request" not in [alert.kind for alert in world.alerts("ada")]
    text_from(world, DAUGHTER, "yes")
    assert world.client("ada").phone != DAUGHTER


def test_the_hour_among_the_facts_is_the_plans_hour(world: World) -> None:
    browser = world.signed_in()
    page = look(world, browser, prompt_at="10:30")
    assert "<dt>Hour of the text</dt>" in page
    assert "The next texts go, by the clock in America/New York: Mon 02 Mar 10:30" in page
    save(world, browser, prompt_at="10:30")
    with world.store.read() as session:
        situation = load(session, session.get_one(Client, world.clients["ada"]))
        assert situation.settings.prompt_at == time(10, 30)
        rows = session.exec(select(PlanRow).where(PlanRow.client_id == world.clients["ada"])).all()
        assert len(rows) == 2
    assert 'value="10:30"' in browser.page(f"/clients/{world.clients['ada']}/plan")
    world.clock.set(world.clock.now() + timedelta(hours=2, minutes=20))
    world.tick()
    assert world.sent("ada", "prompt") == []
    world.pass_time(minutes=30)
    assert len(world.sent("ada", "prompt")) == 1
    assert differences(world) == []


def test_an_hour_at_which_no_text_may_go_is_refused_at_its_field(world: World) -> None:
    browser = world.signed_in()
    for hour, says in (("03:00", "from 08:00"), ("noon", "a time of day")):
        answer = browser.post(page_of(world), **{**form_of(world, browser), "prompt_at": hour})
        assert answer.status_code == 400
        assert says in html.unescape(answer.text)
        assert 'id="wrong-prompt_at"' in answer.text
    with world.store.write() as session:
        row = session.exec(select(PlanRow).where(PlanRow.client_id == world.clients["ada"])).one()
        row.settings = {**row.settings, "reminder_at": "18:00"}
        session.add(row)
    answer = browser.post(page_of(world), **{**form_of(world, browser), "prompt_at": "19:00"})
    assert "before the reminder at 18:00" in html.unescape(answer.text)


def test_the_clients_page_names_them_and_the_address(world: World) -> None:
    browser = world.signed_in()
    save(world, browser, second_phones=f"{DAUGHTER} daughter", address="4 Mill Lane")
    page = browser.page(f"/clients/{world.clients['ada']}")
    assert "<dt>Second phone</dt><dd>+1 202-555-0119, daughter</dd>" in page
    assert "<dt>Address</dt><dd>4 Mill Lane</dd>" in page
    text_from(world, DAUGHTER, "STOP")
    assert "has said STOP" in browser.page(f"/clients/{world.clients['ada']}")


def test_several_facts_of_the_plan_change_together(world: World) -> None:
    browser = world.signed_in()
    given = {"prompt_at": "11:00", "usual_pain": "knee", "usual_pain_score": "2", "tape": "yes"}
    page = look(world, browser, **given)
    assert "a pain of the knee that is told as no worse is a note" in page
    save(world, browser, **given)
    assert {**stored(world), **given} == stored(world)
    with world.store.read() as session:
        situation = load(session, session.get_one(Client, world.clients["ada"]))
        assert situation.settings.prompt_at == time(11)
        assert situation.settings.usual_pain.place == "knee"
        assert situation.measures.equipment.tape
    form = {**form_of(world, browser), "usual_pain_score": ""}
    assert browser.post(page_of(world), **form).status_code == 400
    assert "every pain that is told rests them" in look(
        world, browser, usual_pain="", usual_pain_score=""
    )
    assert differences(world) == []
