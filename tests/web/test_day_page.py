"""The day: one card a client, what to do said in a sentence, whom to see, and who told today."""

import re
from collections.abc import Iterator

import pytest
from browsing import THEMES, Window, served
from playwright.sync_api import Browser, expect
from web_world import World, make_world

from rungwise.store.tables import Alert


def text_of(page: str) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", page).split())


def test_the_signs_of_one_client_are_one_card_the_gravest_first(world: World) -> None:
    world.pass_time(hours=2)
    world.reply("ada", "I fell and my knee hurts")
    page = world.signed_in().page("/")
    assert page.count('<article class="card card-urgent"') == 1
    assert ">Ada Sample: Fall, pain</a>" in page
    assert 'href="tel:+12025550200"' in page
    assert "1 to phone now" in page


def test_what_is_to_decide_says_what_to_do_and_has_its_act(world: World) -> None:
    world.reply("bo", "what does hover mean?")
    page = world.signed_in().page("/")
    assert "Read what Bo asked or wished today at 08:00, and answer what is open." in page
    assert "what does hover mean?" in re.sub("</?mark>", "", page)
    assert 'aria-label="Last 14 days: 1 due later today"' in page


def test_stuck_leads_to_the_landmark_below(world: World) -> None:
    with world.store.write() as session:
        now = world.clock.now()
        session.add(
            Alert(practice_id=1, client_id=world.clients["ada"], kind="stuck", urgency="today",
                  system_did="The client stays on this rung.", opened_at=now, last_at=now)
        )  # fmt: skip
    browser = world.signed_in()
    page = browser.page("/")
    assert "Place Ada one landmark lower, or see them first" in page
    act = re.search(r'href="(/clients/\d+/override\?step=lower)"', page)
    assert act
    assert "What it would mean" in browser.page(act[1]) or "place again" in browser.page(act[1])
    see = page[page.index('id="see"') :]
    assert "Ada Sample" in see
    assert "stuck on a rung" in see


def test_todays_texts_are_told_by_name_and_the_rest_counted(world: World) -> None:
    told = world.signed_in("lena").page("/").partition('id="texts"')[2]
    assert "Due" in told
    assert text_of(told).count("Ada Sample") == 0
    world.pass_time(hours=2)
    world.reply("ada", "14 wobbly")
    world.reply("bo", "20 steady")
    told = text_of(world.signed_in("lena").page("/").partition('id="texts"')[2])
    assert told.index("Ada Sample wobbly, 14 s") < told.index("Bo Specimen steady, 20 s")
    assert "Sent, no reply yet 1" in told
    assert "Cy Instance" not in text_of(world.signed_in("tess").page("/"))


def test_a_search_is_open_and_the_days_counts_stay_out_of_handled_ones(world: World) -> None:
    browser = world.signed_in()
    assert "search-fold" in browser.page("/")
    assert not re.search(r'search-fold" open', browser.page("/"))
    assert re.search(r'search-fold" open', browser.page("/?q=ada"))
    assert "Handled alerts" in browser.page("/?handled=true")


# --- in a browser ------------------------------------------------------------------------------

PHONE = {"width": 390, "height": 844}


@pytest.fixture(scope="module")
def practice(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[World, str]]:
    world = make_world(tmp_path_factory.mktemp("practice"))
    world.pass_time(hours=2)
    for words in ("20 steady", "14 wobbly", "20 steady"):
        world.reply("bo", words)
        world.pass_time(days=1)
    world.reply("ada", "Did 20 but then I fell in the kitchen")
    world.reply("bo", "what does hover mean?")
    with served(world) as address:
        yield world, address
    world.store.close()


@pytest.mark.browser
def test_the_first_incident_stands_in_the_top_third_of_a_phone(
    practice: tuple[World, str], browser: Browser
) -> None:
    window = Window(browser, practice[1], 390)
    window.page.set_viewport_size(PHONE)  # type: ignore[arg-type]
    window.sign_in("lena")
    card = window.page.locator(".card-urgent").first
    box = card.locator("h3").bounding_box()
    words = card.locator(".said").bounding_box()
    assert box is not None
    assert words is not None
    assert words["y"] + words["height"] <= PHONE["height"] / 3
    number = card.locator(".phone-act").bounding_box()
    assert number is not None
    assert number["y"] + number["height"] <= PHONE["height"] / 2
    window.close()


@pytest.mark.browser
@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("width", [1280, 390, 320])
def test_the_day_is_accessible_and_fits(
    practice: tuple[World, str], browser: Browser, width: int, theme: str
) -> None:
    window = Window(browser, practice[1], width, theme).sign_in("lena")
    window.page.locator(".search-fold summary").click()
    window.page.locator(".me summary").click()
    assert window.axe() == []
    assert window.sideways() <= 0
    assert window.complaints == []
    window.close()


@pytest.mark.browser
def test_handling_takes_two_presses(practice: tuple[World, str], browser: Browser) -> None:
    window = Window(browser, practice[1]).sign_in("lena")
    window.page.locator(".card-row h3 a").first.click()
    window.page.locator("button[data-key='1']").click()
    expect(window.page.locator(".done")).to_contain_text("Handled: ")
    window.page.get_by_role("button", name="Undo").click()
    window.close()
