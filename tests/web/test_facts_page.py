"""Every fact of a client changed on the page: what is shown first, what is stored, what follows."""

import html
import re
from datetime import timedelta
from typing import Any

import pytest
from editing import (
    CHANGES,
    NEW,
    SECOND,
    add_second_number,
    days_go_by,
    differences,
    stored,
)
from sqlmodel import col, select
from web_world import SignedIn, World

from rungwise.carriers.base import InboundText
from rungwise.coach.daily.receive import receive
from rungwise.coach.enrolment.edit_client import facts_of
from rungwise.coach.enrolment.facts import FIELDS, GUESSED_FROM, LISTS, TICKS, filled_in
from rungwise.coach.record.situation import Situation, load
from rungwise.store.tables import Audit, Client, Message, MoveRow, PlanRow, Practice
from rungwise.web.clients.facts import NAMES
from rungwise.wording.rung_words import rung_short

SOMEWHERE = "+12025550177"


def page_of(world: World, who: str = "ada") -> str:
    return f"/clients/{world.clients[who]}/facts"


def form_of(world: World, browser: SignedIn, who: str = "ada") -> dict[str, Any]:
    """The form as the page shows it: what a browser would send if nobody changed anything."""
    page = browser.page(page_of(world, who)).partition('class="intake"')[2]
    form: dict[str, Any] = {}
    for tag in re.findall(r"<input[^>]+>", page):
        name, value = (re.search(rf'{one}="([^"]*)"', tag) for one in ("name", "value"))
        box = 'type="radio"' in tag or 'type="checkbox"' in tag
        if name is None or (box and "checked" not in tag):
            continue
        held = html.unescape(value[1]) if value else ""
        form[name[1]] = f"{form[name[1]]} {held}" if name[1] in form else held
    for name, held in re.findall(r'<textarea id="(\w+)"[^>]*>(.*?)</textarea>', page, re.DOTALL):
        form[name] = html.unescape(held)
    for name, options in re.findall(r'<select id="(\w+)".*?>(.*?)</select>', page, re.DOTALL):
        chosen = re.search(r'<option(?: value="([^"]*)")? selected>([^<]*)', options)
        form[name] = (chosen[1] if chosen[1] is not None else chosen[2]) if chosen else ""
    return form


def look(world: World, browser: SignedIn, who: str = "ada", **changed: str) -> str:
    answer = browser.post(page_of(world, who), **{**form_of(world, browser, who), **changed})
    assert answer.status_code == 200, answer.text
    return html.unescape(answer.text)


def save(world: World, browser: SignedIn, who: str = "ada", **changed: str):
    form = {**form_of(world, browser, who), **changed}
    looked = browser.post(page_of(world, who), **form).text
    seen = re.search(r'name="seen" value="(\w+)"', looked)
    assert seen, looked
    return browser.post(page_of(world, who), **{**form, "seen": seen[1], "step": "save"})


def situation_of(world: World, who: str = "ada") -> Situation:
    with world.store.read() as session:
        found = load(session, session.get_one(Client, world.clients[who]))
        assert found is not None
        return found


def text_from(world: World, phone: str, words: str) -> None:
    world.ids += 1
    with world.store.write() as session:
        practice = session.get_one(Practice, 1)
        inbound = InboundText(f"in-{world.ids}", phone, practice.phone, words)
        receive(session, world.clock.now(), "handset", inbound)
    world.tick()


def sent_to(world: World, phone: str) -> list[str]:
    with world.store.read() as session:
        rows = select(Message).where(Message.direction == "out").order_by(col(Message.id))
        found = session.exec(rows).all()
    return [one.body for one in found if one.to_phone == phone and one.state != "cancelled"]


@pytest.fixture
def numbers(world: World) -> World:
    add_second_number(world)
    return world


# --- each fact ------------------------------------------------------------------------------------


def test_the_page_changes_nothing_that_nobody_changed(numbers: World) -> None:
    browser = numbers.signed_in()
    form = form_of(numbers, browser)
    given = set(FIELDS) - {*TICKS, *LISTS, *GUESSED_FROM}
    assert given - set(form) == set(), "every fact is on the page"
    before = stored(numbers)
    page = html.unescape(browser.post(page_of(numbers), **form).text)
    assert "Nothing is changed" in page
    assert stored(numbers) == before


def test_every_fact_has_its_change() -> None:
    tried = {name for given in CHANGES.values() for name in given}
    assert tried | {"phone"} == set(FIELDS) - set(GUESSED_FROM)


@pytest.mark.parametrize("fact", CHANGES)
def test_a_fact_is_changed_and_the_next_text_follows(numbers: World, fact: str) -> None:
    world = numbers
    browser = world.signed_in("lena")
    before = stored(world)
    given = CHANGES[fact]
    page = look(world, browser, **given)
    for name in given:
        assert f"<dt>{NAMES[name]}</dt>" in page
    assert stored(world) == before, "nothing is stored before it was looked at"
    next_text = re.search(r"The next day's text</h3><p[^>]*>(.*?)</p>", page)
    done = save(world, browser, **given)
    assert done.status_code == 303, done.text
    assert {**before, **given} == stored(world)
    days_go_by(world, next_text[1] if next_text else None)


def test_guessed_feet_are_measured_or_guessed_anew(world: World) -> None:
    with world.store.write() as session:
        row = session.exec(select(PlanRow).where(PlanRow.client_id == 1)).one()
        body = {**row.profile["body"], "estimated": True}
        row.profile = {**row.profile, "body": body}
        session.add(row)
    browser = world.signed_in()
    page = browser.page(page_of(world))
    assert "The feet are guessed: 24.6 cm long" in page
    assert form_of(world, browser)["foot_length_cm"] == ""
    answer = browser.post(page_of(world), **{**form_of(world, browser), "height_cm": "150"})
    assert answer.status_code == 400
    form = {**form_of(world, browser), "height_cm": "150", "sex": "female"}
    assert "Feet</dt>" not in browser.post(page_of(world), **form).text
    assert save(world, browser, height_cm="150", sex="female").status_code == 303
    assert stored(world)["feet"] == "guessed"
    assert stored(world)["foot_length_cm"] != "24.6"
    # EU 38: 38 Paris points of 20/3 mm along the last, which is 15 mm longer than the foot.
    shoe = {"shoe_size": "38", "shoe_system": "eu", "sex": "female"}
    assert save(world, browser, **shoe).status_code == 303
    assert (stored(world)["feet"], stored(world)["foot_length_cm"]) == ("guessed", "23.8")
    measured = {"foot_length_cm": "24", "foot_breadth_cm": "9", "hip_width_cm": "17"}
    assert save(world, browser, **measured).status_code == 303
    assert (stored(world)["feet"], stored(world)["foot_length_cm"]) == ("measured", "24")
    assert "guessed" not in browser.page(page_of(world))


def test_an_address_stays_out_of_the_audit_trail_and_is_the_one_of_visits(world: World) -> None:
    browser = world.signed_in()
    assert save(world, browser, address=" 4  Mill Lane ").status_code == 303
    assert "4 Mill Lane" in browser.page(f"/clients/{world.clients['ada']}/visits")
    with world.store.read() as session:
        trail = [str(line.detail) for line in session.exec(select(Audit)).all()]
    assert any("'address'" in line for line in trail)
    assert not any("Mill" in line for line in trail)
    assert save(world, browser, address="").status_code == 303
    assert world.client("ada").address is None
    too_long = browser.post(page_of(world), **{**form_of(world, browser), "address": "x" * 201})
    assert too_long.status_code == 400
    assert "at most 200 characters" in too_long.text


@pytest.mark.parametrize(
    ("field", "value", "says"),
    [
        ("name", "", "Fill in their name."),
        ("phone", "12", "It must be"),
        ("phone", "+12025550201", "no other client of the practice has"),
        ("time_zone", "Moon/Base", "zone name"),
        ("trainer", "nobody@example.org", "omar@example.org"),
        ("foot_length_cm", "99", "from 17 to 34"),
        ("foot_length_cm", "", "Measure all three"),
        ("foot_breadth_cm", "14", "at most half the foot length"),
        ("narrowest_cm", "5", "It must be"),
        ("mat_length_cm", "180", "both sides"),
        ("mat_layer_mm", "200", "from 2 to 30"),
        ("longest_hold_s", "15", "Lower those in the plan first"),
        ("home", "counter moat", "among counter"),
        ("tasks", "tandem/juggling", "among"),
        ("language", "tlh", "en or es"),
    ],
)
def test_what_cannot_be_is_told_at_its_field(world: World, field: str, value: str, says) -> None:
    browser = world.signed_in()
    before = stored(world)
    answer = browser.post(page_of(world), **{**form_of(world, browser), field: value})
    assert answer.status_code == 400
    shown = html.unescape(answer.text)
    assert says in shown
    assert f'href="#{field}"' in shown or 'href="#mat_width_cm"' in shown
    assert stored(world) == before


# --- what follows ---------------------------------------------------------------------------------


def test_another_zone_moves_the_hour_and_no_day_gets_two(world: World) -> None:
    world.pass_time(hours=2)
    assert len(world.sent("ada", "prompt")) == 1, "Monday's has gone at 9 in New York"
    browser = world.signed_in()
    page = look(world, browser, time_zone="America/Denver")
    # Denver is two hours behind New York; daylight saving began in both on 8 March 2026.
    assert "Tue 03 Mar 09:00 (11:00 where the practice is)" in page
    assert "Thu 05 Mar 09:00 (11:00 where the practice is)" in page
    save(world, browser, time_zone="America/Denver")
    world.pass_time(hours=12)
    assert len(world.sent("ada", "prompt")) == 1
    world.pass_time(hours=14)
    prompts = world.sent("ada", "prompt")
    assert len(prompts) == 2
    assert f"{prompts[1].created_at:%H:%M}" == "16:00", "9 in Denver, which is at UTC-7"


def test_a_new_body_keeps_the_place_or_goes_to_the_nearest_easier_rung(world: World) -> None:
    browser = world.signed_in()
    ladder = situation_of(world).ladder
    here = next(rung for rung in ladder.rungs if rung.landmark == "tandem")
    form = {"rung_key": here.key, "reason": "seen", "meant": "true", "version": 1}
    assert browser.post(f"/clients/{world.clients['ada']}/override", **form).status_code == 303
    world.pass_time(hours=2)
    page = look(world, browser, no_full_weight="left")
    assert f"They stay where they are: {rung_short(here)}." in page
    save(world, browser, no_full_weight="left")
    assert world.rung_of("ada") == here.key
    # A ladder whose steps don't meet the rung: an easier one, said why, and told to the client.
    mid = situation_of(world).ladder.rungs[4]
    form |= {"rung_key": mid.key, "version": world.client("ada").version}
    browser.post(f"/clients/{world.clients['ada']}/override", **form)
    page = look(world, browser, narrow_mm="17")
    assert f"They go from {rung_short(mid)} to " in page
    assert "this is the nearest easier rung" in page
    assert "another exercise for you" in page
    before = len(world.moves("ada"))
    save(world, browser, narrow_mm="17")
    (move,) = world.moves("ada")[before:]
    assert (move.kind, move.from_key) == ("override", mid.key)
    assert "nearest easier rung" in move.because
    assert world.rung_of("ada") == move.to_key
    now = situation_of(world)
    assert now.plan_row.version == 3
    assert now.ladder.index(move.to_key) < len(now.ladder.rungs)
    for day in range(5):
        world.pass_time(days=1)
        world.reply("ada", "20 steady both" if day != 2 else "no, that was 10 wobbly")
    assert differences(world) == []


def test_a_resting_client_stays_at_rest_whatever_is_measured(world: World) -> None:
    world.pass_time(hours=2)
    world.reply("ada", "I fell in the kitchen")
    browser = world.signed_in()
    page = look(world, browser, narrow_mm="17", time_zone="America/Denver")
    assert "No text of the day goes now; when they begin, it is at 09:00 in America/Denver." in page
    save(world, browser, narrow_mm="17", time_zone="America/Denver")
    assert world.client("ada").state == "resting"
    world.pass_time(days=2)
    assert len(world.sent("ada", "prompt")) == 1
    assert differences(world) == []


def test_a_stale_form_is_refused_with_a_sentence_and_stays_filled_in(world: World) -> None:
    browser = world.signed_in()
    form = {**form_of(world, browser), "name": "Ada Mine"}
    looked = browser.post(page_of(world), **form).text
    seen = re.search(r'name="seen" value="(\w+)"', looked)
    assert seen
    assert save(world, world.signed_in("lena"), called="Adele").status_code == 303
    answer = browser.post(page_of(world), **form, seen=seen[1], step="save")
    assert answer.status_code == 409
    shown = html.unescape(answer.text)
    assert "Somebody changed this client since you looked." in shown
    assert 'value="Ada Mine"' in shown
    assert "Changed facts of the client, Lena Placeholder" in shown
    assert world.client("ada").name == "Ada Sample"


def test_what_was_not_looked_at_is_not_stored(world: World) -> None:
    browser = world.signed_in()
    form = form_of(world, browser)
    for seen in ("", "made-up"):
        answer = browser.post(page_of(world), **{**form, "name": "X", "seen": seen, "step": "save"})
        assert answer.status_code == 409
        assert "not what was looked at" in answer.text
    assert world.client("ada").name == "Ada Sample"


def test_the_trail_tells_what_was_changed_and_quotes_nobody(world: World) -> None:
    browser = world.signed_in()
    save(world, browser, name="Ada Secret", time_zone="America/Denver", phone=NEW)
    with world.store.read() as session:
        line = session.exec(select(Audit).where(Audit.action == "facts changed")).one()
    assert line.detail["facts"] == ["name", "phone"]
    assert line.detail["changed"] == {"time_zone": ["America/New_York", "America/Denver"]}
    assert "Secret" not in str(line.detail)
    assert NEW not in str(line.detail)
    page = html.unescape(browser.page(f"/clients/{world.clients['ada']}/history"))
    assert "Changed facts of the client." in page
    assert "Name, Mobile phone." in page
    assert "Time zone: America/New_York, then America/Denver." in page


def test_a_trainer_who_gives_a_client_away_lands_where_they_may_be(world: World) -> None:
    browser = world.signed_in()
    assert "You don't see them any more after this." in look(
        world, browser, trainer="omar@example.org"
    )
    done = save(world, browser, trainer="omar@example.org")
    assert done.headers["location"] == "/clients"
    browser.page(page_of(world), 404)


def test_texts_from_another_number_say_so_once(numbers: World) -> None:
    browser = numbers.signed_in()
    save(numbers, browser, sends_from=SECOND)
    numbers.pass_time(hours=2)
    (notice,) = numbers.sent("ada", "notice")
    assert notice.from_phone == SECOND
    assert "come from this number" in notice.body
    assert [one.from_phone for one in numbers.sent("ada", "prompt")] == [SECOND]


# --- a new phone ----------------------------------------------------------------------------------


def asked(world: World) -> SignedIn:
    browser = world.signed_in()
    page = look(world, browser, phone="(303) 555-0142")
    assert f"{NEW} is asked first." in page
    assert "Texts go on to +12025550200 until it has answered YES." in page
    assert save(world, browser, phone="(303) 555-0142").status_code == 303
    world.pass_time(minutes=30)
    (ask,) = sent_to(world, NEW)
    assert "Please answer YES or NO." in ask
    assert "Ada" not in ask, "whoever has that phone may be somebody else"
    return browser


def test_a_new_phone_is_asked_and_texts_go_there_once_it_said_yes(world: World) -> None:
    browser = asked(world)
    world.pass_time(hours=2)
    assert world.client("ada").phone == "+12025550200"
    assert world.sent("ada", "prompt")[0].to_phone == "+12025550200"
    assert "has not answered YES yet" in browser.page(page_of(world))
    text_from(world, NEW, "Yes please")
    assert world.client("ada").phone == NEW
    assert "to this phone from now on" in sent_to(world, NEW)[-1]
    assert "has not answered YES yet" not in browser.page(page_of(world))
    world.pass_time(days=1)
    assert world.sent("ada", "prompt")[-1].to_phone == NEW
    world.reply("ada", "20 steady")
    assert differences(world) == []
    history = browser.page(f"/clients/{world.clients['ada']}/history")
    assert "The new phone answered YES" in history


@pytest.mark.parametrize("words", ["No", "STOP", "wrong number"])
def test_a_phone_that_says_no_gets_nothing_more_and_the_trainer_is_told(
    world: World, words: str
) -> None:
    browser = asked(world)
    text_from(world, NEW, words)
    assert world.client("ada").phone == "+12025550200"
    assert sent_to(world, NEW)[-1] == "Thank you. We send nothing more to this phone."
    count = len(sent_to(world, NEW))
    (alert,) = world.alerts("ada")
    assert alert.urgency == "today"
    assert f"{NEW} answers that texts shall not come there." in alert.system_did
    assert "has not answered YES yet" not in browser.page(page_of(world))
    world.pass_time(days=3)
    assert len(sent_to(world, NEW)) == count
    assert len(world.alerts("ada")) == 1, "nobody is told that it has not answered"
    assert world.client("ada").state == "active"


def test_a_fall_told_from_the_new_phone_counts_whatever_was_asked(world: World) -> None:
    asked(world)
    world.pass_time(hours=2)
    text_from(world, NEW, "yes but I fell and my hip hurts")
    assert world.client("ada").state == "resting"
    assert world.client("ada").phone == "+12025550200", "that was no plain yes"
    assert {alert.urgency for alert in world.alerts("ada")} >= {"urgent"}
    assert "911" in sent_to(world, NEW)[-1]
    assert differences(world) == []


def test_a_yes_while_safety_is_in_question_is_no_yes_to_the_phone(world: World) -> None:
    asked(world)
    world.pass_time(hours=2)
    world.reply("ada", "I fell")
    text_from(world, NEW, "yes")
    assert world.client("ada").phone == "+12025550200"
    assert any(alert.kind == "emergency" for alert in world.alerts("ada"))


def test_what_else_the_new_phone_writes_waits_for_the_trainer(world: World) -> None:
    asked(world)
    text_from(world, NEW, "who is this?")
    assert world.client("ada").phone == "+12025550200"
    (alert,) = world.alerts("ada")
    assert "From the new phone, which has not said yes yet." in alert.system_did
    assert len(sent_to(world, NEW)) == 2, "they are answered"
    text_from(world, NEW, "Ah. Yes")
    assert world.client("ada").phone == NEW


def test_the_trainer_is_told_when_it_does_not_answer(world: World) -> None:
    asked(world)
    world.pass_time(days=2)
    alerts = [one for one in world.alerts("ada") if one.kind == "request"]
    assert len(alerts) == 1
    assert "has not answered for two days" in alerts[0].system_did
    text_from(world, NEW, "yes")
    assert world.client("ada").phone == NEW, "late is not too late"


def test_asking_is_taken_back(world: World) -> None:
    browser = asked(world)
    done = browser.post(f"/clients/{world.clients['ada']}/new-phone")
    assert done.status_code == 303
    assert "has not answered YES yet" not in browser.page(page_of(world))
    text_from(world, NEW, "yes")
    assert world.client("ada").phone == "+12025550200"
    world.pass_time(days=3)
    assert not any("two days" in alert.system_did for alert in world.alerts("ada"))


def test_a_second_thought_asks_the_other_phone_instead(world: World) -> None:
    browser = asked(world)
    save(world, browser, phone=SOMEWHERE)
    world.pass_time(minutes=30)
    assert len(sent_to(world, SOMEWHERE)) == 1
    text_from(world, NEW, "yes")
    assert world.client("ada").phone == "+12025550200"
    text_from(world, SOMEWHERE, "yes")
    assert world.client("ada").phone == SOMEWHERE


@pytest.mark.parametrize("state", ["invited", "stopped"])
def test_who_gets_no_texts_is_asked_nothing(world: World, state: str) -> None:
    with world.store.write() as session:
        client = session.get_one(Client, world.clients["ada"])
        client.state = state
        session.add(client)
    browser = world.signed_in()
    assert "is asked first" not in look(world, browser, phone=NEW)
    assert save(world, browser, phone=NEW).status_code == 303
    world.pass_time(hours=3)
    assert world.client("ada").phone == NEW
    assert sent_to(world, NEW) == []


def test_no_two_clients_are_asked_for_one_phone(world: World) -> None:
    browser = asked(world)
    answer = browser.post(page_of(world, "bo"), **{**form_of(world, browser, "bo"), "phone": NEW})
    assert answer.status_code == 400
    assert "no other client" in html.unescape(answer.text)


def test_asked_at_night_it_waits_for_the_morning(world: World) -> None:
    world.clock.set(world.clock.now() + timedelta(hours=14))  # 22:00 in New York
    browser = world.signed_in()
    save(world, browser, phone=NEW)
    world.tick()
    with world.store.read() as session:
        rows = select(Message).where(Message.name == "ask_new_phone")
        ask = session.exec(rows).one()
    assert (ask.to_phone, ask.state) == (NEW, "queued")
    world.pass_time(hours=11)
    with world.store.read() as session:
        assert session.exec(rows).one().state in ("sent", "delivered")


def test_moves_of_before_stay_on_their_own_plan(world: World) -> None:
    world.pass_time(hours=2)
    world.reply("ada", "20 steady")
    browser = world.signed_in()
    save(world, browser, mat_layers="2")
    world.pass_time(days=1)
    world.reply("ada", "20 steady")
    with world.store.read() as session:
        rows = select(MoveRow.plan_version).where(MoveRow.client_id == world.clients["ada"])
        assert session.exec(rows.order_by(col(MoveRow.id))).all() == [1, 1, 2]
    assert differences(world) == []


def test_a_form_holds_what_is_stored(world: World) -> None:
    with world.store.read() as session:
        facts = facts_of(session, session.get_one(Client, 1))
    assert set(filled_in(facts)) == set(FIELDS) - set(GUESSED_FROM)
