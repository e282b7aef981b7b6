"""From the page of an incident to handled, in a real browser, on a phone and on a wide screen."""

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from browsing import Window, answer_unhurt, served
from playwright.sync_api import Browser
from sqlmodel import select
from web_world import World, make_world

from rungwise.concepts.after_fall import ITEMS
from rungwise.store.tables import Incident

pytestmark = pytest.mark.browser

WIDTHS = (390, 1280)


@pytest.fixture
def practice(tmp_path: Path) -> Iterator[tuple[World, str]]:
    world = make_world(tmp_path, is_demo=True)
    world.pass_time(hours=2)
    with served(world) as address:
        yield world, address
    world.store.close()


def opened(world: World, window: Window, *texts: str) -> None:
    """The client texts, and somebody signed in opens the incident."""
    for words in texts:
        world.reply("ada", words)
    world.tick()
    window.sign_in()
    with world.store.read() as session:
        incident = session.exec(select(Incident)).one()
    window.page.goto(f"/incidents/{incident.id}")


def picture(window: Window, name: str) -> None:
    """Kept when a folder for pictures is named, to be looked at."""
    folder = os.environ.get("RUNGWISE_PICTURES")
    if folder:
        window.page.screenshot(path=f"{folder}/{name}-{window.width}.png", full_page=True)


@pytest.mark.parametrize("width", WIDTHS)
def test_what_is_no_fall_is_handled_in_one_tap(practice, browser: Browser, width: int) -> None:
    world, address = practice
    window = Window(browser, address, width)
    opened(world, window, "my knee hurts")
    assert window.axe() == []
    assert window.sideways() <= 0
    window.page.get_by_role("button", name="Phoned: all is well").click()
    window.page.wait_for_url(f"{address}/")
    assert {one.state for one in world.alerts("ada")} == {"handled"}
    assert window.complaints == []
    window.close()


@pytest.mark.parametrize("width", WIDTHS)
def test_a_fall_takes_its_checklist_and_then_one_tap(practice, browser: Browser, width) -> None:
    world, address = practice
    window = Window(browser, address, width)
    opened(world, window, "I fell in the kitchen", "no")
    page = window.page
    assert page.locator("input[type=radio]:checked").count() == 0
    picture(window, "incident")
    assert window.axe() == []
    assert window.sideways() <= 0
    # Pressed too early, it says what is left and keeps what was answered.
    page.locator('[name="fall_head"][value="no"]').check()
    page.get_by_role("button", name="Phoned: all is well").click()
    told = page.locator(".told").inner_text()
    assert "Left:" in told
    assert page.locator('[name="fall_head"][value="no"]').is_checked()
    assert not page.locator('[name="fall_thinner"][value="no"]').is_visible()
    answer_unhurt(page)
    assert window.axe() == []
    page.get_by_role("button", name="Phoned: all is well").click()
    page.wait_for_url(f"{address}/")
    assert {one.state for one in world.alerts("ada")} == {"handled"}
    window.close()


@pytest.mark.parametrize("width", WIDTHS)
def test_a_worrying_answer_leads_to_what_is_left_to_do(practice, browser, width) -> None:
    world, address = practice
    window = Window(browser, address, width)
    opened(world, window, "I fell in the kitchen", "no")
    page = window.page
    for item in ITEMS:
        page.locator(f'[name="fall_{item.name}"]').last.check()
    page.get_by_role("button", name="Phoned: will see a doctor first").click()
    page.get_by_role("heading", name="Clinician's word").wait_for()
    assert "An ambulance, now." in page.locator(".now").inner_text()
    picture(window, "incident-after")
    assert window.axe() == []
    assert window.sideways() <= 0
    window.close()
