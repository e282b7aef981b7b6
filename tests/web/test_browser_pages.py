"""Every page in a real browser: accessible in both themes and widths, and quiet in the console."""

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from browsing import THEMES, WIDTHS, Window, served
from playwright.sync_api import Browser
from web_world import World, make_world

pytestmark = pytest.mark.browser

PICTURES = Path(__file__).parents[2] / "docs/pictures"
ANSWERS = ("20 steady", "20 and steady, thank you", "20 wobbly", "14 wobbly", "20 steady", "25 ok")
HIGH = "firm/tandem/hover"
PAGES = {
    "day": "/",
    "handled": "/?handled=true",
    "an alert": "/alerts/{question}",
    "incident": "/incidents/{incident}",
    "clients": "/clients",
    "client": "/clients/{ada}",
    "another client": "/clients/{bo}",
    "plan": "/clients/{ada}/plan",
    "history": "/clients/{ada}/history",
    "override": "/clients/{ada}/override",
    "override up": "/clients/{bo}/override?rung_key=" + HIGH,
    "phone": "/phone?client={ada}",
    "print": "/clients/{ada}/print",
    "facts": "/clients/{ada}/facts",
    "a day told": "/clients/{ada}/day",
    "usual pain": "/clients/{ada}/usual-pain",
    "visits to one": "/clients/{ada}/visits",
    "round": "/visits/round",
    "search": "/clients/search?q=chair",
    "unknown numbers": "/unknown-numbers",
    "rehearsal": "/practice/rehearsal",
    "booklet": "/practice/booklet",
    "account": "/account",
    "nothing": "/nowhere",
}


@pytest.fixture(scope="module")
def practice(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[World, str]]:
    """A practice after a week, with a fall, a question and a handled alert."""
    world = make_world(tmp_path_factory.mktemp("practice"), is_demo=True)
    world.pass_time(hours=2)
    for words in ANSWERS:
        world.reply("ada", words)
        world.reply("bo", words.replace("20", "L20 R20"))
        world.pass_time(days=1)
    world.reply("bo", "Is it ok to hold the chair instead?")
    world.reply("ada", "Did 20 but then I fell in the kitchen, knee hurts a bit")
    world.pass_time(minutes=20)
    with served(world) as address:
        yield world, address
    world.store.close()


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("width", WIDTHS)
def test_every_page_is_accessible_and_quiet(
    practice: tuple[World, str], browser: Browser, width: int, theme: str
) -> None:
    world, address = practice
    fall = next(alert for alert in world.alerts("ada") if alert.kind == "fall")
    asked = next(alert.id for alert in world.alerts("bo") if alert.kind == "request")
    values = {**world.clients, "incident": fall.incident_id, "question": asked}
    window = Window(browser, address, width, theme)
    wrong: list[str] = []
    window.page.goto("/sign-in")
    wrong += [f"sign-in {found}" for found in window.axe()]
    window.sign_in()
    for name, path in PAGES.items():
        window.page.goto(path.format(**values))
        wrong += [f"{name} {found}" for found in window.axe()]
        if window.sideways() > 0:
            wrong.append(f"{name} is {window.sideways()} px too wide")
    window.close()
    expected = [text for text in window.complaints if "404" in text]
    assert len(expected) == 1, "only the page that is not there"
    assert [text for text in window.complaints if text not in expected] == []
    assert wrong == []


SHIFTED = """() => new Promise((done) => {
    let sum = 0;
    new PerformanceObserver((seen) => {
        for (const shift of seen.getEntries()) sum += shift.value;
    }).observe({ type: "layout-shift", buffered: true });
    setTimeout(() => done(sum), 400);
})"""


@pytest.mark.parametrize("width", WIDTHS)
def test_nothing_jumps_while_a_page_loads(
    practice: tuple[World, str], browser: Browser, width: int
) -> None:
    world, address = practice
    window = Window(browser, address, width).sign_in()
    for name in ("day", "clients", "client", "override"):
        window.page.goto(PAGES[name].format(**world.clients))
        assert window.page.evaluate(SHIFTED) < 0.01, name
    window.close()


def test_the_check_finds_what_is_wrong(practice: tuple[World, str], browser: Browser) -> None:
    window = Window(browser, practice[1])
    window.page.set_content('<html lang="en"><title>x</title><main><img src="x"><input></main>')
    found = " ".join(window.axe())
    assert "image-alt" in found
    assert "label" in found
    window.close()


def test_pictures_of_the_inbox_and_of_a_client(
    practice: tuple[World, str], browser: Browser, tmp_path: Path
) -> None:
    world, address = practice
    folder = PICTURES if os.environ.get("RUNGWISE_PICTURES") == "1" else tmp_path
    window = Window(browser, address).sign_in()
    for name, path in (("inbox", "/"), ("client", f"/clients/{world.clients['ada']}")):
        window.page.goto(path)
        picture = folder / f"page-{name}.png"
        window.page.screenshot(path=picture, clip={"x": 0, "y": 0, "width": 1280, "height": 900})
        assert picture.stat().st_size > 10_000
    window.close()
