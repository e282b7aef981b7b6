"""The page that says how long words are kept: a preview, a floor, and only for the lead."""

import re
from datetime import timedelta

from sqlmodel import select
from web_world import World

from rungwise.coach.practice.retention import MARK
from rungwise.store.tables import Message, Practice

PAGE = "/practice/retention"


def kept(world: World) -> int | None:
    with world.store.read() as session:
        return session.get_one(Practice, 1).keep_texts_months


def plain(page: str) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", page).split())


def test_a_lead_looks_then_saves_and_the_night_does_as_the_page_said(world: World) -> None:
    world.reply("ada", "20 steady by the quince tree")
    world.clock.advance(timedelta(days=200))
    browser = world.signed_in("lena")
    assert "Empty: for ever" in browser.page(PAGE)
    looked = plain(browser.post(PAGE, months="6", step="look").text)
    assert kept(world) is None
    counted = re.search(r"In the coming night (\d+) texts from before", looked)
    assert counted, looked
    assert browser.post(PAGE, months="6", step="take").status_code == 303
    assert kept(world) == 6
    assert f"{counted[1]} texts from before" in plain(browser.page(PAGE))
    world.clock.advance(timedelta(days=1))
    world.tick()
    with world.store.read() as session:
        gone = session.exec(select(Message).where(Message.removed_at.is_not(None))).all()
    assert len(gone) == int(counted[1])
    page = browser.page(f"/clients/{world.clients['ada']}?before={gone[-1].id + 1}")
    assert MARK in page
    assert "quince" not in page


def test_what_cannot_be_is_told(world: World) -> None:
    browser = world.signed_in("lena")
    for months in ("5", "121", "six", "-6", "6" * 2000):
        answer = browser.post(PAGE, months=months, step="take")
        assert answer.status_code == 400, months[:20]
        assert "6 to 120" in answer.text
    assert kept(world) is None


def test_a_trainer_sees_it_and_changes_nothing(world: World) -> None:
    browser = world.signed_in("tess")
    assert "For ever." in browser.page(PAGE)
    assert browser.post(PAGE, months="6", step="take").status_code == 400
    assert kept(world) is None


def test_it_is_linked_from_the_practices_page(world: World) -> None:
    assert f'href="{PAGE}"' in world.signed_in("lena").page("/practice")
