"""A client's page in a real browser: what stands in the first screen, and how long the page is."""

from collections.abc import Iterator

import pytest
from browsing import THEMES, Window, served
from playwright.sync_api import Browser, expect
from web_world import World, make_world

pytestmark = pytest.mark.browser

PHONE = {"width": 390, "height": 844}
# Before the page was folded it was 3,938 px high, and 7,455 px on a phone.
MOST_HEIGHT_PX = {1280: 1400, 390: 3000}


@pytest.fixture(scope="module")
def practice(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[World, str]]:
    """Ada told of a fall after a week of practice; Bo is steady; Cy has never answered."""
    world = make_world(tmp_path_factory.mktemp("practice"))
    world.pass_time(hours=2)
    for words in ("20 steady", "20 steady", "14 wobbly", "20 steady", "20 steady"):
        world.reply("ada", words)
        world.reply("bo", words)
        world.pass_time(days=1)
    world.reply("ada", "Did 20 but then I fell in the kitchen")
    world.reply("bo", "20 steady")
    with served(world) as address:
        yield world, address
    world.store.close()


def opened(browser: Browser, practice: tuple[World, str], who: str, **more: object) -> Window:
    world, address = practice
    window = Window(browser, address, **more)  # type: ignore[arg-type]
    if window.width == PHONE["width"]:
        window.page.set_viewport_size(PHONE)  # type: ignore[arg-type]
    window.sign_in("lena")
    window.page.goto(f"/clients/{world.clients[who]}")
    return window


@pytest.mark.parametrize("who", ["ada", "bo", "cy"])
def test_sentence_act_and_number_stand_in_a_phones_first_screen(
    practice: tuple[World, str], browser: Browser, who: str
) -> None:
    window = opened(browser, practice, who, width=390)
    for part in (".say", ".now-do .acts", ".phone-act"):
        box = window.page.locator(part).first.bounding_box()
        assert box is not None
        assert box["y"] + box["height"] <= PHONE["height"], part
    number = window.page.locator(".phone-act").first
    assert (number.get_attribute("href") or "").startswith("tel:+1202")
    assert (number.bounding_box() or {})["height"] >= 44  # common practice for a finger, no source
    window.close()


def test_a_fall_is_what_the_page_begins_with(practice: tuple[World, str], browser: Browser) -> None:
    window = opened(browser, practice, "ada")
    expect(window.page.locator(".say")).to_have_text(
        "Phone Ada now: a fall was told today at 10:00."
    )
    expect(
        window.page.get_by_role("link", name="Phone Ada Sample, +1 202-555-0200")
    ).to_be_visible()
    window.page.get_by_role("link", name="Open the alert of Ada Sample").click()
    expect(window.page.get_by_role("heading", level=1)).to_contain_text("Ada Sample")
    window.close()


@pytest.mark.parametrize("width", [1280, 390])
def test_the_page_is_short_and_its_order_is_now_feet_days_rest(
    practice: tuple[World, str], browser: Browser, width: int
) -> None:
    window = opened(browser, practice, "ada", width=width)
    assert window.page.evaluate("document.documentElement.scrollHeight") <= MOST_HEIGHT_PX[width]
    names = [head.inner_text() for head in window.page.locator("main h2").all()]
    assert names == ["Now", "Today’s feet", "14 days", "On the ladder"]
    if width == PHONE["width"]:
        tops = [(head.bounding_box() or {})["y"] for head in window.page.locator("main h2").all()]
        assert tops == sorted(tops)
    window.close()


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("width", [1280, 390, 320])
def test_all_folds_open_are_accessible_and_fit(
    practice: tuple[World, str], browser: Browser, width: int, theme: str
) -> None:
    window = opened(browser, practice, "ada", width=width, theme=theme)
    for fold in window.page.locator(".fold > summary").all():
        fold.click()
    assert window.page.locator(".fold:not([open])").count() == 0
    assert window.axe() == []
    assert window.sideways() <= 0
    assert window.complaints == []
    window.close()


def test_the_strip_is_a_list_with_a_sentence_a_day(
    practice: tuple[World, str], browser: Browser
) -> None:
    window = opened(browser, practice, "ada")
    days = window.page.locator(".strip-days li")
    assert days.count() == 14
    expect(days.last).to_contain_text("fall, pain or another sign")
    expect(days.nth(12)).to_contain_text("Friday 6 March: steady")
    window.close()


def test_what_an_address_is_about_is_unfolded(
    practice: tuple[World, str], browser: Browser
) -> None:
    window = opened(browser, practice, "ada")
    address = window.page.url
    for asked, fold in (("?weeks=6", "#holds"), ("?before=9999", "#texts")):
        window.page.goto(address + asked)
        assert window.page.locator(f"{fold}[open]").count() == 1
    window.close()
