"""The new client's page: what it asks, what it shows before storing, and what it stores."""

import re
from html.parser import HTMLParser

import pytest
from screened import harmless
from sqlmodel import select
from web_world import World

from rungwise.coach.enrolment.intake_form import DEFAULTS
from rungwise.coach.enrolment.screening_questions import QUESTIONS
from rungwise.store.tables import Client, Message

TYPICAL = {
    **harmless(),
    "name": "Edda Vorlage",
    "phone": "202 555 0177",
    "sex": "female",
    "height_cm": "164",
    "home": ["counter", "floor", "light", "shoes", "phone", "someone"],
    "stage_1": "10",
    "stage_2": "10",
    "stage_3": "4",
    "agreed": "yes",
}


class Inputs(HTMLParser):
    """The controls of a page, by name."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.required: set[str] = set()
        self.named: dict[str, list[dict[str, str | None]]] = {}
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        held = dict(attrs)
        name = held.get("name")
        if tag in ("input", "select", "textarea") and name and held.get("type") != "hidden":
            self.named.setdefault(name, []).append(held)
            if "required" in held:
                self.required.add(name)


def form(**changes: object) -> dict[str, object]:
    given = {**DEFAULTS, "language": "en", **TYPICAL, **changes}
    given["weekdays"] = str(given["weekdays"]).split()
    return {name: value for name, value in given.items() if value is not None}


def seen(page: str) -> str:
    found = re.search(r'name="seen" value="(\w+)"', page)
    assert found, page[:3000]
    return found[1]


def add(world: World, who: str = "tess", **changes: object) -> str:
    """Look, then add; the address one lands on."""
    browser = world.signed_in(who)
    looked = browser.post("/clients/new", step="look", **form(**changes))
    assert looked.status_code == 200, looked.text
    added = browser.post("/clients/new", step="add", seen=seen(looked.text), **form(**changes))
    assert added.status_code == 303, added.text
    return str(added.headers["location"])


def clients(world: World) -> list[Client]:
    with world.store.read() as session:
        return list(session.exec(select(Client)).all())


def test_beside_the_questions_at_most_14_things_are_asked_and_defaults_shown(world: World) -> None:
    page = world.signed_in().page("/clients/new")
    inputs = Inputs(page)
    questions = {one.name for one in QUESTIONS}
    assert inputs.required == {"name", "phone", *questions}
    # What is filled in for a typical client, each tick and choice counted: required or not.
    touched = {name: value for name, value in TYPICAL.items() if name != "home"}
    assert set(touched) <= set(inputs.named)
    beside = set(touched) - questions
    assert len(beside) == 8
    assert len(beside) + len(TYPICAL["home"]) <= 14
    for name in ("prompt_at", "target_s"):
        assert inputs.named[name][0]["value"] == DEFAULTS[name]
    assert all("checked" in day for day in inputs.named["weekdays"])
    assert not any("checked" in one for name in questions for one in inputs.named[name])


def test_nothing_is_stored_before_what_follows_was_seen(world: World) -> None:
    before = len(clients(world))
    browser = world.signed_in()
    looked = browser.post("/clients/new", step="look", **form())
    page = looked.text
    assert "What follows for Edda Vorlage" in page
    assert "Semi-tandem was held for 10 s and tandem was not" in page
    assert "Hello Edda, this is Harbour Balance" in page
    assert "Left foot a step ahead, no gap sideways" in page
    assert 'role="img"' in page
    assert "+12025550177" in page
    assert "America/New_York" in page
    assert len(clients(world)) == before
    # Not even with the button that adds, without having looked.
    straight = browser.post("/clients/new", step="add", **form())
    assert straight.status_code == 200
    assert "What follows for Edda Vorlage" in straight.text
    assert len(clients(world)) == before


def test_a_typical_client_is_added_and_gets_the_text_that_was_shown(world: World) -> None:
    browser = world.signed_in()
    looked = browser.post("/clients/new", step="look", **form())
    shown = re.findall(r'<p class="sent" lang="en">(.*?)</p>', looked.text, re.DOTALL)
    added = browser.post("/clients/new", step="add", seen=seen(looked.text), **form())
    client = next(one for one in clients(world) if one.name == "Edda Vorlage")
    assert added.headers["location"] == f"/clients/{client.id}"
    world.clients["edda"] = client.id
    world.tick()
    assert [message.body for message in world.sent("edda")] == [shown[0]]
    world.pass_time(hours=2)
    assert world.sent("edda", "prompt")[0].body == shown[1]


def test_what_changed_since_it_was_seen_is_shown_again(world: World) -> None:
    browser = world.signed_in()
    looked = browser.post("/clients/new", step="look", **form())
    changed = form(stage_3="10", stage_4="2")
    again = browser.post("/clients/new", step="add", seen=seen(looked.text), **changed)
    assert again.status_code == 200
    assert "not what you saw before" in again.text
    assert not any(one.name == "Edda Vorlage" for one in clients(world))


def test_what_is_wrong_is_told_at_the_field_and_what_was_typed_stays(world: World) -> None:
    browser = world.signed_in()
    answer = browser.post(
        "/clients/new", step="look", **form(phone="12", name='<b>"Edda"', falls="more", sex=None)
    )
    assert answer.status_code == 400
    page = answer.text
    assert "2 things to put right" in page
    assert 'href="#phone"' in page
    assert 'id="wrong-phone"' in page
    assert re.search(r'<input id="phone"[^>]*aria-invalid="true"[^>]*wrong-phone', page)
    inputs = Inputs(page)
    assert inputs.named["name"][0]["value"] == '<b>"Edda"'
    assert inputs.named["phone"][0]["value"] == "12"
    chosen = [one["value"] for one in inputs.named["falls"] if "checked" in one]
    assert chosen == ["more"]
    ticked = [one["value"] for one in inputs.named["home"] if "checked" in one]
    assert ticked == TYPICAL["home"]
    assert "<b>" not in page


def test_no_day_ticked_is_no_answer(world: World) -> None:
    answer = world.signed_in().post("/clients/new", step="look", **form(weekdays=""))
    assert answer.status_code == 400
    assert "Choose at least one day" in answer.text


def test_a_fixed_line_is_warned_of(world: World) -> None:
    answer = world.signed_in().post("/clients/new", step="look", **form(phone="+44 20 7946 0018"))
    assert "fixed line" in answer.text
    assert "Europe/London" in answer.text


def test_a_phone_that_another_client_has_is_told_at_its_field(world: World) -> None:
    browser = world.signed_in()
    taken = form(phone=world.client("bo").phone)
    looked = browser.post("/clients/new", step="look", **taken)
    answer = browser.post("/clients/new", step="add", seen=seen(looked.text), **taken)
    assert answer.status_code == 400
    assert 'id="wrong-phone"' in answer.text
    assert "no other client of the practice" in answer.text


def test_a_button_pressed_twice_adds_one_client(world: World) -> None:
    browser = world.signed_in()
    looked = browser.post("/clients/new", step="look", **form())
    answers = [
        browser.post("/clients/new", step="add", seen=seen(looked.text), **form()) for _ in range(2)
    ]
    assert [one.status_code for one in answers] == [303, 303]
    assert answers[0].headers["location"] == answers[1].headers["location"]
    assert len([one for one in clients(world) if one.name == "Edda Vorlage"]) == 1


@pytest.mark.parametrize(
    ("answers", "heading", "button"),
    [
        ({"aid": "yes"}, "Ask the clinician first", "Add Edda, no text yet"),
        ({"texts": "no"}, "Not by text", "Keep this on record"),
        ({"agreed": None}, "May start, but not yet", "Add Edda, no text yet"),
        ({"home": ["light"]}, "May start, but not yet", "Add Edda, no text yet"),
    ],
)
def test_who_is_held_is_kept_and_gets_no_text(world: World, answers, heading, button) -> None:
    looked = world.signed_in().post("/clients/new", step="look", **form(**answers))
    assert heading in looked.text
    assert button in looked.text
    landed = add(world, **answers)
    assert re.fullmatch(r"/clients/\d+/start", landed)
    world.pass_time(days=2)
    client = next(one for one in clients(world) if one.name == "Edda Vorlage")
    assert client.state == "invited"
    with world.store.read() as session:
        sent = session.exec(select(Message).where(Message.client_id == client.id)).all()
    assert sent == []


def test_the_clinicians_word_then_begin(world: World) -> None:
    landed = add(world, drowsy="yes")
    browser = world.signed_in()
    page = browser.page(landed)
    assert "No text goes yet" in page
    assert "Ask their clinician first" in page
    assert "Takes medicine that makes sleepy or unsteady" in page
    assert "Send the first text" not in page
    refused = browser.post(landed)
    assert refused.status_code == 400
    assert "ask the client&#39;s clinician first" in refused.text
    half = browser.post(f"{landed}/clinician", clinician="", clinician_said="Fine", allows="yes")
    assert half.status_code == 400
    assert 'id="wrong-clinician"' in half.text
    assert ">Fine</textarea>" in half.text
    unchosen = browser.post(f"{landed}/clinician", clinician="Dr Sample", clinician_said="Fine")
    assert 'id="wrong-allows"' in unchosen.text
    word = {"clinician": "Dr Sample", "clinician_said": "Mornings are fine.", "allows": "yes"}
    assert browser.post(f"{landed}/clinician", **word).status_code == 303
    page = browser.page(landed)
    assert "Nothing stands against it" in page
    assert "Mornings are fine." in page
    begun = browser.post(landed)
    assert (begun.status_code, begun.headers["location"]) == (303, landed.removesuffix("/start"))
    world.clients["edda"] = int(landed.split("/")[2])
    world.tick()
    assert [message.kind for message in world.sent("edda")] == ["welcome"]
    assert "How they started" in browser.page(landed)


def test_consent_can_be_recorded_later(world: World) -> None:
    landed = add(world, agreed=None)
    browser = world.signed_in()
    assert "I agree to get practice texts from Harbour Balance" in browser.page(landed)
    refused = browser.post(landed)
    assert refused.status_code == 400
    assert "not agreed to texts yet" in refused.text
    assert browser.post(landed, agreed="yes").status_code == 303


def test_asking_again_wants_every_answer(world: World) -> None:
    landed = add(world, stands="no")
    browser = world.signed_in()
    short = browser.post(f"{landed}/questions", falls="none")
    assert short.status_code == 400
    assert 'id="wrong-dizzy"' in short.text
    assert browser.post(f"{landed}/questions", **harmless()).status_code == 303
    assert "Nothing stands against it" in browser.page(landed)


def test_the_home_can_be_put_right(world: World) -> None:
    landed = add(world, home=["light"])
    browser = world.signed_in()
    assert "Not in place yet: A steady counter" in browser.page(landed)
    ready = ["counter", "floor", "phone"]
    assert browser.post(f"{landed}/home", home=ready, someone="Tom").status_code == 303
    page = browser.page(landed)
    assert "Nothing stands against it" in page
    assert 'value="Tom"' in page
    assert browser.post(f"{landed}/home", home="sofa").status_code == 400


def test_another_trainers_client_has_no_such_pages(world: World) -> None:
    landed = add(world, "omar", aid="yes")
    browser = world.signed_in("tess")
    browser.page(landed, 404)
    for more in ("", "/clinician", "/questions", "/home"):
        assert browser.post(f"{landed}{more}").status_code == 404
    world.signed_in("lena").page(landed)


def test_clients_added_without_questions_have_the_page_too(world: World) -> None:
    page = world.signed_in().page(f"/clients/{world.clients['ada']}/start")
    assert "Nothing was asked" in page


def test_a_stand_that_was_not_tried_stands_so_on_the_clients_page(world: World) -> None:
    stands = {"stage_1": "10", "stage_2": "not tried", "stage_3": "", "stage_4": ""}
    landed = add(world, height_cm="5 ft 4", **stands)
    page = world.signed_in().page(landed.removesuffix("/start") + "/start")
    assert "side by side 10 s, semi-tandem not tried" in page
