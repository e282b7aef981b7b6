"""Another rung in a real browser: seen as it is chosen, in three presses, and without a script."""

from collections.abc import Iterator

import pytest
from browsing import THEMES, Window, served
from playwright.sync_api import Browser, Page, expect
from web_world import PROFILE, World, make_world

from rungwise.coach.record.codec import ladder_of

pytestmark = pytest.mark.browser

LADDER = ladder_of(PROFILE)
CLOSE = "Side by side, 7.5 cm apart, hover"


@pytest.fixture
def practice(tmp_path) -> Iterator[tuple[World, str]]:
    world = make_world(tmp_path)
    world.pass_time(hours=2)
    with served(world) as address:
        yield world, address
    world.store.close()


def opened(browser: Browser, practice: tuple[World, str], **more: object) -> Window:
    world, address = practice
    window = Window(browser, address, **more).sign_in()  # type: ignore[arg-type]
    window.page.goto(f"/clients/{world.clients['ada']}")
    return window


def shown(page: Page) -> str:
    return page.locator("#means .sent").inner_text()


def test_three_presses_and_a_reason(practice: tuple[World, str], browser: Browser) -> None:
    window = opened(browser, practice)
    page = window.page
    page.get_by_role("link", name="Another rung").click()  # 1
    before = shown(page)
    page.get_by_label(CLOSE).check()  # 2
    expect(page.locator("#means .sent")).not_to_have_text(before)
    expect(page.locator("#preview-told")).to_contain_text("Shown: Feet side by side")
    assert "rung_key=" in page.url
    text = shown(page)
    page.get_by_label("Why?").fill("Held it well at the visit")
    page.get_by_role("button", name="Put Ada on this rung").click()  # 3
    expect(page.locator(".lines").first).to_contain_text("Held it well at the visit")
    world, _ = practice
    world.pass_time(days=1)
    assert world.sent("ada", "prompt")[-1].body == text
    assert window.complaints == []
    window.close()


def test_what_was_typed_is_kept_and_a_second_look_is_asked_afresh(
    practice: tuple[World, str], browser: Browser
) -> None:
    window = opened(browser, practice)
    page = window.page
    page.get_by_role("link", name="Another rung").click()
    page.get_by_label("Why?").fill("Seen at home")
    high = next(rung for rung in LADDER.rungs if rung.landmark == "tandem")
    page.locator(f"input[value='{high.key}']").check()
    expect(page.get_by_label("I mean it")).to_be_visible()
    expect(page.get_by_label("Why?")).to_have_value("Seen at home")
    page.get_by_label("I mean it").check()
    page.keyboard.press("Escape")
    top = LADDER.rungs[-1]
    page.locator(f"input[value='{top.key}']").check()
    expect(page.locator("#means .told").first).to_contain_text("This opens the gate")
    expect(page.get_by_label("I mean it")).not_to_be_checked()
    assert window.complaints == []
    window.close()


def test_arrow_keys_go_up_the_drawing(practice: tuple[World, str], browser: Browser) -> None:
    window = opened(browser, practice)
    page = window.page
    page.get_by_role("link", name="Another rung").click()
    page.locator("input[name=rung_key]:checked").focus()
    page.keyboard.press("ArrowUp")
    key = LADDER.rungs[1].key
    expect(page.locator("#means input[name=rung_key]")).to_have_value(key)
    window.close()


def test_every_rung_of_the_ladder_can_be_chosen(
    practice: tuple[World, str], browser: Browser
) -> None:
    window = opened(browser, practice)
    page = window.page
    page.get_by_role("link", name="Another rung").click()
    values = [one.get_attribute("value") for one in page.locator(".pick input").all()]
    assert sorted(values) == sorted(rung.key for rung in LADDER.rungs)
    first = page.locator("input[name=rung_key]:checked").bounding_box()
    box = page.locator(".rungs").first.bounding_box()
    assert first is not None
    assert box is not None
    assert box["y"] <= first["y"] <= box["y"] + box["height"], "the rung they are on is in view"
    window.close()


def test_without_a_script_the_button_shows_it(
    practice: tuple[World, str], browser: Browser
) -> None:
    window = opened(browser, practice, scripts=False)
    page = window.page
    page.get_by_role("link", name="Another rung").click()
    page.get_by_label(CLOSE).check()
    page.get_by_role("button", name="Show what it would mean").click()
    expect(page.locator("#means")).to_contain_text("What it would mean")
    page.get_by_label("Why?").fill("Held it")
    page.get_by_role("button", name="Put Ada on this rung").click()
    expect(page.locator(".lines").first).to_contain_text("Held it")
    window.close()


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("width", [1280, 390, 320])
def test_it_is_accessible_and_fits(
    practice: tuple[World, str], browser: Browser, width: int, theme: str
) -> None:
    window = opened(browser, practice, width=width, theme=theme)
    window.page.get_by_role("link", name="Another rung").click()
    assert window.axe() == []
    assert window.sideways() <= 0
    assert window.complaints == []
    window.close()
