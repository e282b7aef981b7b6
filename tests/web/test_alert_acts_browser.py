"""What solves an alert, and what is asked of a fall beside its checklist, in a real browser."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from browsing import Window, served
from playwright.sync_api import Browser
from test_alert_acts import opened
from web_world import World, make_world

pytestmark = pytest.mark.browser

WIDTHS = (390, 1280)
KINDS = {"silence": "ada", "gate_reached": "ada", "stuck": "bo", "undeliverable": "ada"}


@pytest.fixture
def practice(tmp_path: Path) -> Iterator[tuple[World, str]]:
    world = make_world(tmp_path)
    world.pass_time(hours=2)
    with served(world) as address:
        yield world, address
    world.store.close()


@pytest.mark.parametrize("width", WIDTHS)
def test_what_solves_an_alert_and_what_is_counted_of_a_fall(
    practice: tuple[World, str], browser: Browser, width: int
) -> None:
    world, address = practice
    window = Window(browser, address, width).sign_in()
    page, wrong = window.page, []
    for kind, who in KINDS.items():
        page.goto(f"/alerts/{opened(world, kind, who)}")
        assert page.get_by_role("heading", name="What solves it").is_visible()
        wrong += window.axe()
        assert window.sideways() <= 0
    world.reply("ada", "I fell in the kitchen")
    world.tick()
    fall = next(one for one in world.alerts("ada") if one.kind == "fall")
    page.goto(f"/incidents/{fall.incident_id}")
    page.locator("#count summary").click()
    assert page.get_by_label("Doing what").is_visible()
    wrong += window.axe()
    assert window.sideways() <= 0
    assert wrong == []
    assert window.complaints == []
    window.close()
