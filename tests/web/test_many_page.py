"""Acting on many from the list: looked at, done once, taken back; tags and saved views."""

import re
from datetime import date, time

import pytest
from browsing import WIDTHS, Window, served
from playwright.sync_api import Browser
from sqlmodel import col, select
from web_world import World

from rungwise.coach.daily.client_state import rest_client
from rungwise.coach.data.erase import erase_client
from rungwise.coach.enrolment.clients import NewClient, add_client
from rungwise.coach.groups.acts import Hour
from rungwise.coach.groups.many import begin
from rungwise.coach.record.situation import load
from rungwise.store.tables import (
    Audit,
    Client,
    ClientTag,
    GroupAct,
    GroupActClient,
    Message,
    Practice,
    Trainer,
)
from rungwise.wording.price import Price, price_from

FROM, UNTIL = "2026-03-05", "2026-03-09"
PAUSE = {"act": "pause", "first": FROM, "last": UNTIL}


def ids(world: World, *who: str) -> str:
    return " ".join(str(world.clients[one]) for one in who)


def hidden(page: str, name: str) -> str:
    found = re.search(rf'name="{name}" value="([^"]*)"', page)
    assert found, page[-3000:]
    return found[1]


def look(world: World, *who: str, by: str = "tess", **form: str):
    browser = world.signed_in(by)
    return browser.post("/clients/many", clients=ids(world, *who), step="look", **form)


def do(world: World, *who: str, by: str = "tess", **form: str):
    """Look, then do it; gives the answer to the second press."""
    page = look(world, *who, by=by, **form).text
    return again(world, page, *who, by=by, **form)


def again(world: World, page: str, *who: str, by: str = "tess", **form: str):
    more = {"seen": hidden(page, "seen"), "once": hidden(page, "once"), "step": "do"}
    return world.signed_in(by).post("/clients/many", clients=ids(world, *who), **more, **form)


def away(world: World, who: str) -> list[tuple[str, str]]:
    with world.store.read() as session:
        situation = load(session, session.get_one(Client, world.clients[who]))
        assert situation is not None
        return [(first.isoformat(), last.isoformat()) for first, last in situation.settings.away]


def rest(world: World, who: str) -> None:
    with world.store.write() as session:
        rest_client(session, world.clock.now(), session.get_one(Client, world.clients[who]))


def words(page: str) -> str:
    return re.sub(r"(<[^>]+>|\s)+", " ", page)


def test_a_group_is_paused_told_and_begins_again_by_itself(world: World) -> None:
    shown = words(look(world, "ada", "bo", **PAUSE).text)
    assert "2 texts, 2 segments" in shown
    told = "Tess Example has paused your texts from Thursday, March 5. The next comes on Tuesday, "
    assert shown.count(told) == 2
    assert away(world, "ada") == []
    done = do(world, "ada", "bo", **PAUSE)
    assert done.status_code == 303
    assert away(world, "ada") == away(world, "bo") == [(FROM, UNTIL)]
    world.pass_time(minutes=1)
    assert world.sent("ada", "notice") == []
    world.pass_time(minutes=2)
    assert [one.body[:55] for one in world.sent("ada", "notice")] == [told[:55]]
    world.pass_time(days=9)
    days = [one.local_date for one in world.sent("ada", "prompt")]
    assert not [day for day in days if day and FROM <= day.isoformat() <= UNTIL]
    assert date(2026, 3, 10) in days


def test_who_is_held_is_passed_over_by_name_and_stays_held(world: World) -> None:
    rest(world, "bo")
    shown = words(look(world, "ada", "bo", **PAUSE).text)
    assert "Passed over: 1 Bo Specimen : resting, until you clear them" in shown
    done = do(world, "ada", "bo", **PAUSE)
    assert away(world, "bo") == []
    assert world.client("bo").state == "resting"
    page = words(world.signed_in().page(done.headers["location"]))
    assert "Bo Specimen : resting, until you clear them" in page


def test_nothing_is_done_when_what_follows_has_changed_since(world: World) -> None:
    page = look(world, "ada", "bo", **PAUSE).text
    rest(world, "bo")
    answer = again(world, page, "ada", "bo", **PAUSE)
    assert answer.status_code == 409
    assert "has changed since you looked" in answer.text
    assert away(world, "ada") == []
    assert again(world, answer.text, "ada", "bo", **PAUSE).status_code == 303


def test_two_presses_do_it_once(world: World) -> None:
    form = {"act": "write", "body": "Class is on Wednesday, {called}"}
    page = look(world, "ada", "bo", **form).text
    first, second = (again(world, page, "ada", "bo", **form) for _ in range(2))
    assert first.headers["location"] == second.headers["location"]
    world.pass_time(minutes=3)
    assert [one.body for one in world.sent("ada", "own")] == ["Class is on Wednesday, Ada"]
    assert [one.body for one in world.sent("bo", "own")] == ["Class is on Wednesday, Bo"]


def test_an_act_is_taken_back_whole_before_its_texts_leave(world: World) -> None:
    done = do(world, "ada", "bo", **PAUSE)
    browser = world.signed_in()
    assert browser.post(f"{done.headers['location']}/undo").status_code == 303
    assert away(world, "ada") == away(world, "bo") == []
    world.pass_time(minutes=5)
    assert world.sent("ada", "notice") == []
    assert "Taken back for everybody" in browser.page(done.headers["location"])
    assert "taken back already" in browser.post(f"{done.headers['location']}/undo").text


def test_what_has_left_stays_and_is_said(world: World) -> None:
    done = do(world, "ada", act="write", body="Hello")
    world.pass_time(minutes=5)
    browser = world.signed_in()
    browser.post(f"{done.headers['location']}/undo")
    page = words(browser.page(done.headers["location"]))
    assert "Stays: the text has left already" in page
    with world.store.read() as session:
        states = session.exec(select(Message.state).where(Message.kind == "own")).all()
    assert "cancelled" not in states


@pytest.mark.parametrize(
    ("form", "held"),
    [
        ({"act": "hour", "prompt_at": "10:30"}, "10:30"),
        ({"act": "days", "weekdays": ["0", "2"]}, [0, 2]),
    ],
)
def test_hour_and_days_are_changed_and_put_back(world: World, form: dict, held: object) -> None:
    name = "prompt_at" if form["act"] == "hour" else "weekdays"

    def now() -> object:
        with world.store.read() as session:
            situation = load(session, session.get_one(Client, world.clients["ada"]))
            assert situation is not None
            return situation.settings.to_json()[name]

    before = now()
    done = do(world, "ada", **form)
    assert now() == held
    with world.store.read() as session:
        lines = select(Audit.action).where(Audit.client_id == world.clients["ada"])
        assert "plan changed" in session.exec(lines).all()
    world.signed_in().post(f"{done.headers['location']}/undo")
    assert now() == before


def test_an_hour_outside_texting_hours_is_refused(world: World) -> None:
    answer = look(world, "ada", act="hour", prompt_at="22:30")
    assert answer.status_code == 400
    assert "from 08:00 to before 21:00" in answer.text


@pytest.mark.parametrize(
    ("form", "told"),
    [
        ({"act": "pause", "first": "soon"}, "a date such as"),
        ({"act": "pause", "first": FROM, "last": "2026-03-01"}, "the first day or later"),
        ({"act": "hour", "prompt_at": "x"}, "a time of day"),
        ({"act": "days"}, "at least one day"),
        ({"act": "write", "body": " "}, "some words"),
        ({"act": "write", "body": "x" * 900}, "segments"),
        ({"act": "tag", "tag": ""}, "1 to 40 characters"),
        ({"act": "clear"}, "act is"),
    ],
)
def test_what_cannot_be_is_told_and_nothing_is_done(calm: World, form: dict, told: str) -> None:
    answer = look(calm, "ada", **form)
    assert answer.status_code == 400
    assert told in answer.text
    with calm.store.read() as session:
        assert session.exec(select(GroupAct)).all() == []


def test_nobody_acts_on_anothers_clients_or_sees_their_acts_tags_and_views(world: World) -> None:
    assert look(world, "cy", **PAUSE).status_code == 404
    done = do(world, "ada", act="tag", tag="Tuesday class")
    omar, lena = world.signed_in("omar"), world.signed_in("lena")
    for other in (omar, lena):
        assert other.get(done.headers["location"]).status_code == 404
        assert other.post(f"{done.headers['location']}/undo").status_code == 404
        assert other.get("/clients?tag=1").status_code == 404
        assert "Tuesday class" not in other.page("/clients")
    world.signed_in().post("/clients/views", name="Wobbly ones", list="/clients?today=wobbly")
    assert omar.post("/clients/views/1/forget").status_code == 404


def test_clients_are_handed_over_with_their_alerts_and_given_back(world: World) -> None:
    world.pass_time(hours=2)
    world.reply("ada", "I fell in the kitchen")
    omar = str(world.trainers["omar"])
    shown = words(look(world, "ada", "cy", by="lena", act="give", to=omar).text)
    assert "Goes to Omar Sample with 1 open alert." in shown
    assert "Cy Instance : is theirs already" in shown
    done = do(world, "ada", "cy", by="lena", act="give", to=omar)
    assert world.client("ada").trainer_id == world.trainers["omar"]
    assert world.client("ada").state == "resting"
    assert [one.state for one in world.alerts("ada")] == ["new"]
    world.signed_in("lena").post(f"{done.headers['location']}/undo")
    assert world.client("ada").trainer_id == world.trainers["tess"]


def test_who_gave_clients_away_is_told_that_they_cannot_take_them_back(world: World) -> None:
    done = do(world, "bo", act="give", to=str(world.trainers["omar"]))
    world.signed_in().post(f"{done.headers['location']}/undo")
    assert "Stays: Only the practice lead" in words(
        world.signed_in().page(done.headers["location"])
    )
    assert world.client("bo").trainer_id == world.trainers["omar"]
    answer = look(world, "ada", act="give", to="999")
    assert answer.status_code == 400


def test_with_nobody_ticked_an_act_is_over_all_whom_the_list_shows(world: World) -> None:
    answer = world.signed_in().post("/clients/many", act="pause", list="/clients?q=ada")
    assert "Pause 1 client<" in answer.text
    answer = world.signed_in("lena").post("/clients/many", act="pause", list="/clients")
    assert "Pause 3 clients<" in answer.text
    answer = world.signed_in().post("/clients/many", act="pause", list="/clients?q=nobody")
    assert answer.status_code == 400
    assert "Nobody is chosen" in answer.text
    answer = world.signed_in().post("/clients/many", act="pause", client="x; drop")
    assert answer.status_code == 400


def test_a_tag_filters_the_list_and_is_gone_with_the_last_who_has_it(world: World) -> None:
    done = do(world, "ada", act="tag", tag="Tuesday class")
    page = world.signed_in().page("/clients?tag=1")
    assert "Ada Sample" in page
    assert "Bo Specimen" not in page
    assert 'aria-current="true">Tuesday class<' in page
    world.signed_in().post(f"{done.headers['location']}/undo")
    with world.store.read() as session:
        assert session.exec(select(ClientTag)).all() == []
    assert "Tuesday class" not in world.signed_in().page("/clients")


def test_a_view_is_kept_by_name_and_forgotten(world: World) -> None:
    browser = world.signed_in()
    browser.post("/clients/views", name="Wobbly ones", list="/clients?today=wobbly&page=3")
    assert 'href="/clients?today=wobbly">Wobbly ones<' in browser.page("/clients")
    assert "Forget this view" in browser.page("/clients?today=wobbly")
    browser.post("/clients/views", name="Wobbly ones", list="/clients?today=silent")
    page = browser.page("/clients")
    assert page.count("Wobbly ones<") == 1
    browser.post("/clients/views/1/forget")
    assert "Wobbly ones" not in browser.page("/clients")


def test_what_a_text_to_many_costs_is_said_where_the_price_is_known(world: World) -> None:
    form = {"act": "write", "body": "Hello"}
    assert "can set what one costs" in look(world, "ada", **form).text
    with world.store.write() as session:
        session.get_one(Practice, 1).segment_price = "0.0079 USD"
    assert "2 texts, 2 segments, 0.0158 USD." in words(look(world, "ada", "bo", **form).text)


def test_prices_are_read_and_multiplied_without_rounding() -> None:
    assert str(price_from("0,04 gbp")) == "0.04 GBP"
    assert str(price_from("0.0079 USD").times(3)) == "0.0237 USD"
    assert str(Price(price_from("5 EUR").amount, "EUR")) == "5.00 EUR"


@pytest.mark.parametrize("width", WIDTHS)
def test_pausing_a_group_takes_four_presses(world: World, browser: Browser, width: int) -> None:
    with served(world) as address:
        window = Window(browser, address, width).sign_in()
        page = window.page
        page.goto("/clients")
        presses = 0
        for press in (
            lambda: page.get_by_label("Tick all shown").check(),
            lambda: page.get_by_role("button", name="Pause from–to…").click(),
        ):
            press()
            presses += 1
            assert window.axe() == []
            assert window.sideways() == 0
        page.get_by_label("First day").fill(FROM)
        page.get_by_label("Last day").fill(UNTIL)
        page.get_by_role("button", name="See what follows").click()
        assert window.axe() == []
        assert window.sideways() == 0
        page.get_by_role("button", name="Pause 2 clients").click()
        presses += 2
        assert page.get_by_role("button", name="Take it back").is_visible()
        assert window.axe() == []
        assert window.sideways() == 0
        assert presses <= 4
        assert window.complaints == []
        window.close()
    assert away(world, "ada") == [(FROM, UNTIL)]


def test_the_list_says_how_many_are_ticked(calm: World, browser: Browser) -> None:
    with served(calm) as address:
        window = Window(browser, address).sign_in()
        page = window.page
        page.goto("/clients")
        status = page.locator("[data-ticked]")
        assert status.inner_text() == "Nobody ticked: over all 2 of this list"
        page.get_by_label("Tick Ada Sample").check()
        assert status.inner_text() == "1 ticked"
        page.get_by_label("Tick all shown").check()
        assert status.inner_text() == "2 ticked"
        window.close()


def test_erasing_a_client_takes_them_out_of_acts_and_tags(world: World) -> None:
    do(world, "ada", "bo", act="tag", tag="Tuesday class")
    with world.store.write() as session:
        tess = session.get_one(Trainer, world.trainers["tess"])
        ada = session.get_one(Client, world.clients["ada"])
        erase_client(session, world.clock.now(), tess, ada, "Ada Sample")
    with world.store.read() as session:
        assert session.exec(select(ClientTag.client_id)).all() == [world.clients["bo"]]
        assert session.exec(select(GroupActClient.client_id)).all() == [world.clients["bo"]]


def test_who_falls_while_it_is_being_done_is_passed_over(world: World) -> None:
    page = look(world, "ada", "bo", act="hour", prompt_at="10:30").text
    tess = world.trainers["tess"]
    with world.store.write() as session:
        act_id = begin(
            session,
            world.clock.now(),
            session.get_one(Trainer, tess),
            Hour(time(10, 30)),
            [world.clients["ada"], world.clients["bo"]],
            seen=hidden(page, "seen"),
            once="once",
        ).id
    rest(world, "bo")
    browser = world.signed_in()
    assert "2 clients still to do" in browser.page(f"/clients/many/{act_id}")
    browser.post(f"/clients/many/{act_id}/on")
    shown = words(browser.page(f"/clients/many/{act_id}"))
    assert "Done for 1 client" in shown
    assert "Bo Specimen : resting, until you clear them" in shown


def test_a_list_longer_than_a_page_is_acted_on_whole(world: World) -> None:
    with world.store.write() as session:
        tess = session.get_one(Trainer, world.trainers["tess"])
        for number in range(100):
            new = NewClient(
                name=f"Client {number:03}",
                called=f"C{number}",
                phone=f"+1202555{1000 + number}",
                profile=_profile(world, session),
                time_zone="America/New_York",
                agreed=True,
            )
            add_client(session, world.clock.now(), tess, new)
    page = world.signed_in().post("/clients/many", step="look", list="/clients", **PAUSE).text
    chosen = hidden(page, "clients")
    more = {"seen": hidden(page, "seen"), "once": hidden(page, "once"), "step": "do"}
    done = world.signed_in().post("/clients/many", clients=chosen, **more, **PAUSE)
    assert done.status_code == 303
    with world.store.read() as session:
        rows = select(Message).where(Message.name == "paused_from", Message.state == "queued")
        assert len(session.exec(rows).all()) == 102
        acts = session.exec(select(Audit).where(col(Audit.action) == "acted on many")).all()
    assert [one.detail["clients"] for one in acts] == [102]


def _profile(world: World, session):
    situation = load(session, session.get_one(Client, world.clients["ada"]))
    assert situation is not None
    return situation.measures


def on_rule(world: World, who: str) -> int:
    with world.store.read() as session:
        situation = load(session, session.get_one(Client, world.clients[who]))
        assert situation is not None
        return situation.settings.rule_version


def rung_of(world: World, who: str) -> str:
    with world.store.read() as session:
        situation = load(session, session.get_one(Client, world.clients[who]))
        assert situation is not None
        return situation.placement.rung_key


def test_changing_over_to_another_rule_shows_where_each_would_stand_and_moves_nobody(
    world: World,
) -> None:
    do(world, "ada", "bo", act="rule", version="1")
    assert [on_rule(world, who) for who in ("ada", "bo")] == [1, 1]
    before = rung_of(world, "ada")
    rest(world, "bo")
    shown = words(look(world, "ada", "bo", act="rule", version="2").text)
    assert "Stays on this rung, where the chance of a steady hold is about" in shown
    assert "After a steady day today it would say:" in shown
    assert "Passed over: 1" in shown
    answer = do(world, "ada", "bo", act="rule", version="2")
    assert [on_rule(world, who) for who in ("ada", "bo")] == [2, 1]
    assert rung_of(world, "ada") == before
    undone = answer.headers["location"]
    world.signed_in("tess").post(f"{undone}/undo")
    assert on_rule(world, "ada") == 1
    assert look(world, "ada", act="rule", version="9").status_code == 400
