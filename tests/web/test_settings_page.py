"""The practice's page: who may change what, what is refused, and what changes with it."""

import re

import pytest
from sqlmodel import select
from web_world import World

from rungwise.store.tables import Audit, Message, OwnWording, Practice, Trainer
from rungwise.wording.catalogue import CATALOGUE

GOOD = {
    "name": "Harbour Balance",
    "country": "US",
    "emergency_number": "911",
    "language": "en",
    "time_zone": "America/New_York",
    "texts_from": "08:00",
    "texts_until": "21:00",
    "escalate_minutes": "10",
    "falls_every_weeks": "1",
    "picture_address": "",
}
CALMER_FALL = (
    "Please stop now. Sit down or stay lying. If you are hurt, can't get up, or have chest pain, "
    "call {number}. We have told your trainer."
)


def practice(world: World) -> Practice:
    with world.store.read() as session:
        return session.get_one(Practice, 1)


def trainer(world: World, who: str) -> Trainer:
    with world.store.read() as session:
        return session.get_one(Trainer, world.trainers[who])


def save(world: World, who: str = "lena", **changes: str):
    return world.signed_in(who).post("/practice", **{**GOOD, **changes})


# --- the practice's facts -------------------------------------------------------------------------


def test_what_pages_may_say_is_off_until_the_lead_allows_it(world: World) -> None:
    assert not practice(world).words_in_pages
    save(world, words_in_pages="yes")
    assert practice(world).words_in_pages
    page = world.signed_in("lena").page("/practice")
    chosen = page.partition('name="words_in_pages"')[2].partition("</select>")[0]
    assert '<option value="yes" selected>' in chosen
    save(world)
    assert not practice(world).words_in_pages


def test_a_lead_changes_the_practice_and_it_is_on_record(world: World) -> None:
    answer = save(
        world,
        name="Quayside Balance",
        country="GB",
        emergency_number="",
        texts_from="07:30",
        escalate_minutes="5",
        picture_address="https://sms.example.org/",
    )
    assert (answer.status_code, answer.headers["location"]) == (303, "/practice")
    now = practice(world)
    assert (now.name, now.country, now.emergency_number) == ("Quayside Balance", "GB", "999")
    assert (now.texts_from, now.escalate_minutes) == ("07:30", 5)
    assert now.picture_address == "https://sms.example.org"
    with world.store.read() as session:
        line = session.exec(select(Audit).where(Audit.action == "practice changed")).one()
    assert set(line.detail["fields"]) == {
        "name",
        "country",
        "emergency_number",
        "texts_from",
        "escalate_minutes",
        "picture_address",
    }
    world.reply("ada", "I fell")
    assert "call 999" in world.sent("ada", "safety")[0].body


@pytest.mark.parametrize(
    ("field", "value", "says"),
    [
        ("name", "", "1 to 80"),
        ("name", "x" * 31, "at most 30"),
        ("country", "ZZ", "two letters"),
        ("emergency_number", "9111", "2 or 3 digits"),
        ("emergency_number", "call me", "2 or 3 digits"),
        ("language", "tlh", "en or es"),
        ("time_zone", "Moon/Base", "zone name"),
        ("time_zone", "", "zone name"),
        ("texts_from", "nine", "time of day"),
        ("texts_until", "07:00", "four hours"),
        ("escalate_minutes", "0", "from 2 to 60"),
        ("escalate_minutes", "-5", "from 2 to 60"),
        ("escalate_minutes", "²", "from 2 to 60"),
        ("falls_every_weeks", "2", "1 or 4 or 0"),
        ("picture_address", "sms.example.org", "such as https"),
        ("picture_address", "http://sms.example.org", "begins with https"),
        ("picture_address", "https://u:p@sms.example.org", "such as https"),
        ("picture_address", "https://sms.example.org/?a=b", "such as https"),
        ("picture_address", "javascript:alert(1)", "such as https"),
        ("picture_address", "https://[x", "such as https"),
        ("picture_address", "https://" + "a" * 80 + ".org", "such as https"),
    ],
)
def test_what_cannot_be_is_told_at_its_field(world: World, field: str, value: str, says) -> None:
    before = practice(world)
    answer = save(world, **{field: value})
    assert answer.status_code == 400
    assert f'id="wrong-{field}"' in answer.text
    assert says in answer.text
    assert practice(world) == before


def test_a_country_without_a_known_number_needs_one(world: World) -> None:
    assert "know this country" in save(world, country="BR", emergency_number="").text
    assert save(world, country="BR", emergency_number="192").status_code == 303


def test_hours_that_would_silence_a_client_are_refused_and_named(world: World) -> None:
    answer = save(world, texts_from="10:00")
    assert answer.status_code == 400
    assert "Ada Sample, Bo Specimen, Cy Instance" in answer.text
    assert practice(world).texts_from == "08:00"


def test_a_trainer_sees_the_page_and_changes_nothing(world: World) -> None:
    page = world.signed_in("tess").page("/practice")
    assert "The practice lead changes these" in page
    assert 'action="/practice"' not in page
    assert "+1202555011" not in page.replace(trainer(world, "tess").phone or "", "")
    answer = save(world, "tess", name="Mine")
    assert answer.status_code == 400
    assert "Only the practice lead" in answer.text
    assert practice(world).name == "Harbour Balance"


def test_who_cannot_be_paged_stands_first(world: World) -> None:
    page = world.signed_in("lena").page("/practice")
    assert "Nobody: a page has a way to everybody who can sign in." in page
    with world.store.write() as session:
        session.get_one(Trainer, world.trainers["tess"]).phone = None
        session.get_one(Trainer, world.trainers["omar"]).page_by = "email"
        lead = session.get_one(Trainer, world.trainers["lena"])
        lead.phone, lead.active = None, True
    page = world.signed_in("lena").page("/practice")
    first = page[page.index('id="paged"') : page.index('id="part-trainers"')]
    assert (
        "No phone is set, and e-mail is not set up here. Set a phone: urgent alerts of 2 clients "
        "depend on it." in first
    )
    assert "Texts are not wanted, and e-mail is not set up here." in first
    assert first.index("Tess Example") < first.index("Omar Sample") < first.index("Lena")
    assert "No clients now." in first


def test_a_carrier_that_sends_no_texts_here_reaches_nobody(world: World) -> None:
    with world.store.write() as session:
        session.get_one(Practice, 1).carrier = "kannel"
    page = world.signed_in("lena").page("/practice")
    first = page[page.index('id="paged"') : page.index('id="part-trainers"')]
    assert first.count("Texts do not leave: kannel is not set up here") == 3
    assert re.search(r'<details class="fold" id="carriers" open>', page)


def test_carriers_are_shown_with_what_became_of_texts(world: World) -> None:
    world.pass_time(hours=2)
    world.reply("ada", "20 steady")
    page = world.signed_in("lena").page("/practice")
    row = re.search(r"<tr><th scope=\"row\">handset.*?</tr>", page, re.DOTALL)
    assert row
    assert "(yours)" in row[0]
    assert "working" in row[0]
    figures = re.findall(r"<td>(\d+)</td>", row[0])
    assert int(figures[0]) == len(world.sent("ada") + world.sent("bo") + world.sent("cy"))
    assert figures[1:] == ["0", "0", "0"]


def test_a_carrier_that_is_not_set_up_is_shown_so(world: World) -> None:
    with world.store.write() as session:
        session.get_one(Practice, 1).carrier = "kannel"
    page = world.signed_in("lena").page("/practice")
    assert "not set up on this machine" in page


# --- trainers -------------------------------------------------------------------------------------


def test_a_lead_sets_whom_to_page(world: World) -> None:
    path = f"/practice/trainers/{world.trainers['omar']}"
    answer = world.signed_in("lena").post(
        path,
        phone="202 555 0199",
        second_contact_name="Sam Second",
        second_contact_phone="+12025550198",
    )
    assert answer.status_code == 303
    omar = trainer(world, "omar")
    assert (omar.phone, omar.second_contact_phone) == ("+12025550199", "+12025550198")
    assert omar.second_contact_name == "Sam Second"


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({"phone": "12"}, "phone"),
        ({"second_contact_phone": "+12025550198"}, "second_contact_name"),
        ({"second_contact_phone": "x", "second_contact_name": "Sam"}, "second_contact_phone"),
    ],
)
def test_phones_that_cannot_be_are_told(world: World, given: dict[str, str], field: str) -> None:
    answer = world.signed_in("lena").post(f"/practice/trainers/{world.trainers['omar']}", **given)
    assert answer.status_code == 400
    assert f'id="wrong-{field}"' in answer.text


def test_a_trainer_changes_their_own_phone_and_nobody_elses(world: World) -> None:
    browser = world.signed_in("tess")
    own, other = (f"/practice/trainers/{world.trainers[who]}" for who in ("tess", "omar"))
    assert browser.post(own, phone="+12025550199").status_code == 303
    assert trainer(world, "tess").phone == "+12025550199"
    before = trainer(world, "omar").phone
    assert browser.get(other).status_code == 404
    assert browser.post(other, phone="+12025550197").status_code == 404
    assert browser.post(f"{other}/active", active="no").status_code == 404
    for change in (f"{own}/role", f"{own}/active"):
        refused = browser.post(change, role="lead", active="no")
        assert refused.status_code == 400
        assert "Only the practice lead" in refused.text
    assert trainer(world, "omar").phone == before
    assert trainer(world, "tess").role == "trainer"


def test_another_practices_trainer_is_not_found(world: World) -> None:
    with world.store.write() as session:
        start = session.get_one(Practice, 1).created_at
        other = Practice(name="Elsewhere", phone="+12025550300", created_at=start)
        session.add(other)
        session.flush()
        session.get_one(Trainer, world.trainers["omar"]).practice_id = other.id
    browser = world.signed_in("lena")
    path = f"/practice/trainers/{world.trainers['omar']}"
    assert browser.get(path).status_code == 404
    for more in ("", "/role", "/active"):
        assert browser.post(f"{path}{more}").status_code == 404
    assert "Omar" not in browser.page("/practice")


def test_the_practice_keeps_a_lead(world: World) -> None:
    browser = world.signed_in("lena")
    lena, tess = (f"/practice/trainers/{world.trainers[who]}" for who in ("lena", "tess"))
    for path, form in ((f"{lena}/role", {"role": "trainer"}), (f"{lena}/active", {"active": "no"})):
        refused = browser.post(path, **form)
        assert refused.status_code == 400
        assert "needs a lead" in refused.text
    assert browser.post(f"{tess}/role", role="lead").status_code == 303
    assert browser.post(f"{lena}/role", role="trainer").status_code == 303
    assert trainer(world, "lena").role == "trainer"
    assert trainer(world, "tess").role == "lead"


def test_who_has_clients_keeps_their_sign_in(world: World) -> None:
    browser = world.signed_in("lena")
    refused = browser.post(f"/practice/trainers/{world.trainers['tess']}/active", active="no")
    assert refused.status_code == 400
    assert "still has clients" in refused.text
    assert trainer(world, "tess").active


# --- wording --------------------------------------------------------------------------------------


def test_every_text_is_listed_in_both_languages(world: World) -> None:
    browser = world.signed_in("lena")
    for language in ("en", "es"):
        page = browser.page(f"/practice/texts/{language}")
        for name in CATALOGUE:
            assert f'href="/practice/texts/{language}/{name}"' in page
    browser.page("/practice/texts/xx", 404)
    browser.page("/practice/texts/en/nothing", 404)


def test_own_words_are_previewed_then_used_and_can_be_left_again(world: World) -> None:
    browser = world.signed_in("lena")
    path = "/practice/texts/en/safety_fall"
    looked = browser.post(path, step="look", body=CALMER_FALL)
    assert looked.status_code == 200
    assert "call 911. We have told your trainer." in looked.text
    assert "1 segment" in looked.text
    with world.store.read() as session:
        assert session.exec(select(OwnWording)).all() == []
    assert browser.post(path, step="take", body=CALMER_FALL).status_code == 303
    assert "1 text in the practice" in browser.page("/practice").replace("&#39;", "'")
    world.reply("ada", "I fell")
    assert world.sent("ada", "safety")[0].body == CALMER_FALL.format(number="911")
    assert browser.post(path, step="ours").status_code == 303
    world.reply("bo", "I fell")
    assert world.sent("bo", "safety")[0].body.startswith("Stop and sit, or stay lying.")


@pytest.mark.parametrize(
    ("name", "body", "told"),
    [
        ("safety_fall", "Oh dear. We hope you are well.", "tell the client to stop"),
        ("safety_fall", CALMER_FALL + " Don't worry.", "must not say"),
        ("safety_fall", CALMER_FALL.replace("{number}", "911"), "call {number}"),
        ("caution", "Have fun.", "name pain"),
        ("prompt", "Do {task}", "must keep"),
        ("prompt", "{task} {hint} {caution} {shoe}", "not known here"),
        ("skipped_a", "x" * 200, "segments"),
        ("skipped_a", "  ", "not be empty"),
    ],
)
def test_a_text_that_loses_what_it_must_say_is_refused(world: World, name, body, told) -> None:
    browser = world.signed_in("lena")
    answer = browser.post(f"/practice/texts/en/{name}", step="take", body=body)
    assert answer.status_code == 400
    assert "This wording is not taken" in answer.text
    assert told in answer.text.replace("&#39;", "'")
    with world.store.read() as session:
        assert session.exec(select(OwnWording)).all() == []


def test_only_the_lead_words_texts(world: World) -> None:
    browser = world.signed_in("tess")
    assert "<textarea" not in browser.page("/practice/texts/en/skipped_a")
    answer = browser.post("/practice/texts/en/skipped_a", step="take", body="Fine.")
    assert answer.status_code == 400
    with world.store.read() as session:
        assert session.exec(select(OwnWording)).all() == []


OWN = {
    "first": (
        "Hello {called}, {practice} here. Keep sturdy support within reach. Stop if you have pain "
        "or feel dizzy. This is not an emergency service: call {number}. Reply STOP to end, HELP "
        "for help. Own words."
    ),
    "prompt": "{caution} {task} {hint}",
    "skipped_a": "Own words: skipped.",
    "ask_steadiness": "Own words: steady or wobbly?",
    "reminder_a": "Own words: no word yet.",
    "override": "Own words: a new task.",
    "page": "Own words: {called} {kind}.",
    "stop_done": "Own words: ended. {practice} {number}",
    "unknown_number": "Own words: who is this? Call {number}. {practice}",
}

OWN_PROMPT = "Stop if you have pain or feel dizzy. Feet side by side"


@pytest.fixture
def worded(world: World) -> World:
    browser = world.signed_in("lena")
    for name, body in OWN.items():
        answer = browser.post(f"/practice/texts/en/{name}", step="take", body=body)
        assert answer.status_code == 303, answer.text
    return world


def test_own_words_are_used_wherever_that_text_is_sent(worded: World) -> None:
    world = worded
    world.pass_time(hours=2)
    assert world.sent("ada", "prompt")[0].body.startswith(OWN_PROMPT)
    world.reply("ada", "20")
    world.reply("bo", "skipped")
    world.reply("bo", "STOP")
    said = [message.body for who in ("ada", "bo") for message in world.sent(who)]
    for name in ("ask_steadiness", "skipped_a"):
        assert any(OWN[name] in body for body in said), name
    assert any("Own words: ended. Harbour Balance 911" in body for body in said)


def test_pages_and_previews_use_own_words_too(worded: World) -> None:
    world = worded
    browser = world.signed_in()
    preview = browser.page(f"/clients/{world.clients['ada']}/override")
    assert OWN_PROMPT in preview
    world.reply("ada", "I fell")
    with world.store.read() as session:
        pages = session.exec(select(Message).where(Message.kind == "page")).all()
    assert [page.body for page in pages] == ["Own words: Ada reports a fall."]
