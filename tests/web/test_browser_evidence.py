"""Retests, visits, the week, outcomes and the rule review in a real browser."""

import os
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from browsing import THEMES, WIDTHS, Window, served
from playwright.sync_api import Browser, expect
from stored_practice import BEGAN, later, lives, store_clients
from web_world import START, World, make_world

from rungwise.evidence import KINDS
from rungwise.store.tables import Trainer

pytestmark = pytest.mark.browser

PICTURES = Path(__file__).parents[2] / "docs/pictures"
MEASURED = {
    "four_stage": {"stage_1": "10", "stage_2": "10", "stage_3": "7.5"},
    "one_leg": {"left_1": "4", "right_1": "12", "right_2": "9"},
    "sppb": {"stand_1": "10", "stand_2": "9", "course_m": "4", "walk_1": "5.1", "chair_s": "15"},
    "chair_stand_30s": {"stands": "9"},
    "five_stands": {"time_s": "13.1"},
    "tug": {"time_s": "12.5", "aid": "stick"},
    "fear": {"form": "fes_i_short", "total": "12"},
}
PAGES = (
    *("/visits", "/week", "/month", "/outcomes", "/rule-review", "/rule-review/run?preset=gentle"),
    "/comparison",
    *("/clients/{ada}/retests", "/clients/{bo}/retests", "/rule-review?client={ada}"),
    *("/clients/{ada}/falls", "/clients/{bo}/falls"),
    *("/clients/{ada}/retests/new/sppb", "/clients/{ada}/retests/new/chair_stand_30s"),
    *("/tests/four_stage", "/tests/one_leg"),
)


@pytest.fixture(scope="module")
def practice(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[World, str]]:
    """Two clients of our own with retests and a fall, and eight with ten weeks of reports."""
    world = make_world(tmp_path_factory.mktemp("evidence"))
    days = (START.date() - BEGAN).days - 66
    with world.store.read() as session:
        tess = session.get_one(Trainer, world.trainers["tess"])
    store_clients(world.store, tess, [later(life, days) for life in lives(8, 70)], 8)
    world.clock.advance(timedelta(hours=2))
    world.tick()
    world.reply("bo", "I fell in the garden")
    form = {"age": "74", "sex": "female", "note": "At the kitchen counter."}
    signed_in = world.signed_in("tess")
    for day in ("2026-02-02", "2026-03-02"):
        for kind, measured in MEASURED.items():
            address = f"/clients/{world.clients['ada']}/retests/new/{kind}"
            answer = signed_in.post(address, day=day, **form, **measured)
            assert answer.status_code == 303
    with served(world) as address:
        yield world, address
    world.store.close()


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("width", WIDTHS)
def test_every_page_is_accessible_and_quiet(
    practice: tuple[World, str], browser: Browser, width: int, theme: str
) -> None:
    world, address = practice
    window = Window(browser, address, width, theme).sign_in()
    wrong: list[str] = []
    for path in PAGES:
        window.page.goto(path.format(**world.clients))
        wrong += [f"{path} {found}" for found in window.axe()]
        if window.sideways() > 0:
            wrong.append(f"{path} is {window.sideways()} px too wide")
        keep_picture(window, path, f"{width}-{theme}")
    window.close()
    assert window.complaints == []
    assert wrong == []


def keep_picture(window: Window, path: str, name: str) -> None:
    """To look at them: RUNGWISE_LOOK names a folder."""
    folder = os.environ.get("RUNGWISE_LOOK")
    if folder:
        shown = (
            path.strip("/").replace("/", "-").replace("?", "-").replace("{", "").replace("}", "")
        )
        window.page.screenshot(path=Path(folder) / f"{shown}-{name}.png", full_page=True)


def test_charts_are_drawn_and_not_blocked(practice: tuple[World, str], browser: Browser) -> None:
    window = Window(browser, practice[1]).sign_in()
    window.page.goto("/outcomes")
    for picture in window.page.locator("img.chart").all():
        picture.scroll_into_view_if_needed()
        assert picture.evaluate("image => image.complete && image.naturalWidth") > 100
    assert window.complaints == []
    window.close()


@pytest.mark.parametrize("scripts", [True, False], ids=["scripts", "no scripts"])
def test_a_retest_at_a_visit(world: World, browser: Browser, scripts: bool) -> None:
    with served(world) as address:
        window = Window(browser, address, scripts=scripts).sign_in()
        page = window.page
        page.get_by_role("link", name="Visits").click()
        page.get_by_role("link", name="The week", exact=True).click()
        page.get_by_role("link", name="The week after").click()
        for _ in range(5):
            page.get_by_role("link", name="The week after").click()
        page.get_by_role("link", name="Ada Sample").click()
        page.get_by_role("link", name="Record One-leg stance, eyes open").click()
        page.get_by_label("Left leg, try 1, seconds").fill("4,5")
        page.get_by_label("Right leg, try 1, seconds").fill("many")
        page.get_by_label("Age in completed years").fill("74")
        page.get_by_role("button", name="Record it").click()
        expect(page.get_by_role("alert").filter(has_text="a number, such as 8.5")).to_be_visible()
        expect(page.get_by_label("Left leg, try 1, seconds")).to_have_value("4,5")
        page.get_by_label("Right leg, try 1, seconds").fill("12")
        page.get_by_role("button", name="Record it").click()
        expect(page.get_by_text("Left leg held 4.5 s, under 5 s")).to_be_visible()
        expect(page.get_by_text("Vellas et al. 1997").first).to_be_visible()
        assert window.complaints in ([], ["error: Failed to load resource: the server responded "
                                          "with a status of 400 (Bad Request)"])  # fmt: skip
        window.close()


@pytest.mark.parametrize("scripts", [True, False], ids=["scripts", "no scripts"])
def test_the_rule_review_shows_one_bar_and_what_it_found(
    practice: tuple[World, str], browser: Browser, scripts: bool
) -> None:
    window = Window(browser, practice[1], scripts=scripts).sign_in()
    page = window.page
    page.get_by_role("link", name="Outcomes").click()
    page.get_by_role("link", name="What other settings would have done").click()
    page.get_by_label("Gentle").check()
    page.get_by_role("button", name="Look", exact=True).click()
    expect(page.get_by_text("moves up would have waited")).to_be_visible()
    expect(page.locator(".going p:visible")).to_have_count(1)
    expect(page.locator(".going p:visible")).to_contain_text("of 10 clients")
    assert window.complaints == []
    window.close()


def test_an_instruction_prints_on_one_page(practice: tuple[World, str], browser: Browser) -> None:
    window = Window(browser, practice[1]).sign_in()
    for kind in KINDS:
        window.page.goto(f"/tests/{kind}")
        printed = window.page.pdf(format="A4")
        assert printed.count(b"/Type /Page\n") + printed.count(b"/Type /Page ") == 1, kind
        window.page.emulate_media(media="print")
        expect(window.page.locator(".to-fill")).to_be_visible()
        expect(window.page.locator("nav").first).to_be_hidden()
        window.page.emulate_media(media="screen")
    window.close()


def test_a_picture_of_the_outcomes(
    practice: tuple[World, str], browser: Browser, tmp_path: Path
) -> None:
    folder = PICTURES if os.environ.get("RUNGWISE_PICTURES") == "1" else tmp_path
    window = Window(browser, practice[1]).sign_in()
    window.page.goto("/outcomes")
    picture = folder / "page-outcomes.png"
    window.page.screenshot(path=picture, clip={"x": 0, "y": 0, "width": 1280, "height": 900})
    assert picture.stat().st_size > 10_000
    window.close()
