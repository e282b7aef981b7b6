"""A practice that writes inches and a twelve-hour clock does so on every page."""

import re

import pytest
from sqlmodel import select
from web_world import World

from rungwise.coach.record.plan_versions import new_plan
from rungwise.coach.record.situation import load
from rungwise.store.tables import Client, Practice, Trainer


@pytest.fixture
def american(world: World) -> World:
    with world.store.write() as session:
        practice = session.get_one(Practice, 1)
        practice.lengths, practice.clock = "in", 12
    world.pass_time(hours=26)
    world.reply("ada", "20 steady")
    return world


def seen(page: str) -> str:
    """What somebody reads: no attributes, no form values, no help that names both units."""
    page = re.sub(r"<(style|script|option)[^>]*>.*?</\1>", " ", page, flags=re.DOTALL)
    page = re.sub(r"<desc[^>]*>.*?</desc>", lambda found: found[0], page, flags=re.DOTALL)
    return re.sub(r"(<[^>]+>|\s)+", " ", page)


PAGES = (
    *("/", "/clients", "/visits", "/week", "/outcomes", "/visits/round"),
    *("/clients/{ada}", "/clients/{ada}/plan", "/clients/{ada}/override"),
    *("/clients/{ada}/history", "/clients/{ada}/picture", "/clients/{ada}/summary"),
    *("/clients/{ada}/visits", "/clients/{ada}/retests"),
)


@pytest.mark.parametrize("path", PAGES)
def test_no_page_has_centimetres_or_a_clock_of_24_hours(american: World, path: str) -> None:
    page = american.signed_in().page(path.format(ada=american.clients["ada"]))
    shown = seen(page)
    assert not re.search(r"\d ?cm\b", shown), re.findall(r".{40}\d ?cm\b.{20}", shown)
    hours = re.findall(r"\b\d{1,2}:\d{2}\b(?! ?[ap]m)", shown)
    assert hours == []


def test_the_list_and_the_client_say_inches(american: World) -> None:
    browser = american.signed_in()
    assert "Side by side, 3 3/8 in apart" in browser.page("/clients")
    assert "9 5/8 in long" in seen(browser.page(f"/clients/{american.clients['ada']}"))


def test_an_export_says_inches(american: World) -> None:
    answer = american.signed_in().get(f"/clients/{american.clients['ada']}/export.csv")
    if answer.status_code == 200:
        assert b" cm" not in answer.content


def settings_form(page: str) -> dict[str, str]:
    form = dict(re.findall(r'<input id="(\w+)" name="\w+" type="\w+" value="([^"]*)"', page))
    chosen = r'<select id="(\w+)"[^>]*>(.*?)</select>'
    for name, options in re.findall(chosen, page, re.DOTALL):
        found = re.search(r'<option value="([^"]*)" selected', options)
        form[name] = found[1] if found else ""
    return form


def test_the_lead_sets_the_units(world: World) -> None:
    lena = world.signed_in("lena")
    form = settings_form(lena.page("/practice")) | {"lengths": "in", "clock": "12"}
    assert lena.post("/practice", **form).status_code == 303
    assert "3 3/8 in apart" in lena.page("/clients")
    assert "9:00 am EST" in lena.page("/clients")
    form = settings_form(lena.page("/practice")) | {"lengths": "ells"}
    assert lena.post("/practice", **form).status_code == 400


def test_units_do_not_change_under_a_tape_that_lies_on_a_floor(world: World) -> None:
    """The marks of a tape in centimetres would be read as inches, and the other way round."""
    with world.store.write() as session:
        ada = session.get_one(Client, world.clients["ada"])
        situation = load(session, ada)
        assert situation is not None
        profile = situation.plan_row.profile
        profile = {**profile, "equipment": {**profile["equipment"], "tape": True}}
        tess = session.get_one(Trainer, world.trainers["tess"])
        new_plan(session, world.clock.now(), tess, situation, profile=profile)
    lena = world.signed_in("lena")
    form = settings_form(lena.page("/practice")) | {"lengths": "in"}
    answer = lena.post("/practice", **form)
    assert answer.status_code == 400
    assert "a tape on their floor: Ada Sample" in answer.text
    with world.store.read() as session:
        assert session.exec(select(Practice.lengths)).one() == "cm"
