"""Handing over and editing in a real browser: accessible, not too wide, and in few presses."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from browsing import THEMES, Window, served
from playwright.sync_api import Browser
from web_world import World, make_world

pytestmark = pytest.mark.browser

WIDTHS = (390, 1280)
MOST_PRESSES = 4


@pytest.fixture
def practice(tmp_path: Path) -> Iterator[tuple[World, str]]:
    world = make_world(tmp_path)
    world.reply("ada", "I fell in the kitchen")
    with served(world) as address:
        yield world, address
    world.store.close()


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("width", WIDTHS)
def test_all_clients_of_a_leaver_in_few_presses(
    practice: tuple[World, str], browser: Browser, width: int, theme: str
) -> None:
    world, address = practice
    window = Window(browser, address, width, theme).sign_in("lena")
    page, wrong, presses = window.page, [], 0
    page.goto(f"{address}/practice")  # in the menu under one's name
    for press in (
        lambda: page.get_by_role("link", name="hand over clients of Tess Example").click(),
        lambda: page.get_by_role("button", name="To Omar Sample").click(),
        lambda: page.get_by_role("button", name="close the sign-in of Tess Example").click(),
    ):
        press()
        presses += 1
        wrong += window.axe()
        assert window.sideways() <= 0, page.url
    assert presses <= MOST_PRESSES
    assert {world.client(who).trainer_id for who in world.clients} == {world.trainers["omar"]}
    assert wrong == []
    assert window.complaints == []
    window.close()


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("width", WIDTHS)
def test_facts_are_changed_by_hand_and_by_keyboard(
    practice: tuple[World, str], browser: Browser, width: int, theme: str
) -> None:
    world, address = practice
    window = Window(browser, address, width, theme).sign_in()
    page, wrong = window.page, []
    page.goto(f"/clients/{world.clients['bo']}")
    page.get_by_role("link", name="Facts").click()
    wrong += window.axe()
    page.get_by_label("Mobile phone").fill("12")
    page.get_by_role("button", name="See what follows").click()
    wrong += window.axe()
    assert window.sideways() <= 0
    page.get_by_label("Mobile phone").fill("303 555 0142")
    page.get_by_label("Time zone").select_option("America/Denver")
    page.get_by_label("Mat, folds to").select_option("4")
    page.get_by_label("Mobile phone").press("Enter")  # looks, and stores nothing
    assert world.client("bo").time_zone == "America/New_York"
    wrong += window.axe()
    assert window.sideways() <= 0
    page.screenshot(
        path=f"{world.store.url.partition('///')[2]}-{width}-{theme}.png", full_page=True
    )
    page.get_by_role("button", name="Change this").click()
    assert world.client("bo").time_zone == "America/Denver"
    page.get_by_role("link", name="Facts").click()
    assert page.get_by_text("has not answered YES yet").is_visible()
    wrong += window.axe()
    assert wrong == []
    assert [one for one in window.complaints if "400" not in one] == []
    window.close()
