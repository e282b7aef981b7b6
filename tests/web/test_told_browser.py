"""Entering a day and putting a reading right in a real browser: accessible, and in few presses."""

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from browsing import THEMES, Window, served
from playwright.sync_api import Browser
from web_world import World, make_world

from rungwise.coach.rule.replay import replay

pytestmark = pytest.mark.browser

WIDTHS = (390, 1280)
MOST_FOR_A_DAY, MOST_FOR_A_READING = 4, 3
SEEN = os.environ.get("RUNGWISE_SEEN")  # a folder for pictures to look at


@pytest.fixture
def practice(tmp_path: Path) -> Iterator[tuple[World, str]]:
    world = make_world(tmp_path)
    world.pass_time(hours=2)
    world.reply("ada", "20 steady")
    world.pass_time(days=1)
    with served(world) as address:
        yield world, address
    world.store.close()


def seen(window: Window, name: str) -> None:
    if SEEN:
        place = Path(SEEN) / f"{name}-{window.width}-{window.theme}.png"
        window.page.screenshot(path=place, full_page=True)


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("width", WIDTHS)
def test_a_day_and_a_reading_in_few_presses(
    practice: tuple[World, str], browser: Browser, width: int, theme: str
) -> None:
    world, address = practice
    window = Window(browser, address, width, theme).sign_in()
    page, wrong = window.page, []
    page.goto(f"/clients/{world.clients['ada']}")
    before = len(world.moves("ada"))
    presses = (
        lambda: page.get_by_role("link", name="Enter a day").click(),
        lambda: page.get_by_label("steady", exact=True).check(),
        lambda: page.get_by_role("button", name="See what follows").click(),
        lambda: page.get_by_role("button", name="Enter the day").click(),
    )
    assert len(presses) <= MOST_FOR_A_DAY
    for number, press in enumerate(presses):
        press()
        if number == 0:
            page.get_by_label("Held, seconds").fill("20")
        wrong += window.axe()
        seen(window, f"day-{number}")
        assert window.sideways() <= 0, page.url
    assert len(world.moves("ada")) == before + 1
    page.goto(f"/clients/{world.clients['ada']}")
    presses = (
        page.get_by_role("link", name="Read wrong?").first.click,
        lambda: page.get_by_label("wobbly", exact=True).check(),
        lambda: page.get_by_role("button", name="Put it right").click(),
    )
    assert len(presses) <= MOST_FOR_A_READING
    for number, press in enumerate(presses):
        press()
        wrong += window.axe()
        seen(window, f"reading-{number}")
        assert window.sideways() <= 0, page.url
    with world.store.read() as session:
        assert list(replay(session)) == []
    assert "Read wrong, put right" in page.content()
    assert wrong == []
    assert window.complaints == []
    window.close()


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("width", WIDTHS)
def test_usual_pain_and_the_second_readers_switch(
    practice: tuple[World, str], browser: Browser, width: int, theme: str
) -> None:
    world, address = practice
    window = Window(browser, address, width, theme).sign_in("lena")
    page, wrong = window.page, []
    page.goto(f"/clients/{world.clients['ada']}/usual-pain")
    wrong += window.axe()
    seen(window, "usual-pain")
    page.get_by_label("Where").select_option("knee")
    page.get_by_label("How bad").select_option("3")
    page.get_by_role("button", name="Keep this").click()
    assert "knee, 3 of 10" in page.content()
    page.goto("/practice")
    page.locator("#reading > summary").click()
    page.get_by_role("button", name="Switch the second reader off").click()
    wrong += window.axe()
    seen(window, "practice")
    assert window.sideways() <= 0
    page.locator("#reading > summary").click()
    page.get_by_role("button", name="Switch the second reader on").click()
    assert wrong == []
    assert window.complaints == []
    window.close()
