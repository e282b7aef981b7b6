"""Intake, lists, pictures, summaries, practice and erasing in a real browser.

Accessible in both themes and widths, quiet in the console, whole without a script. With
RUNGWISE_PICTURES=1 the pictures in docs are drawn anew.
"""

import os
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from axe_playwright_python.sync_playwright import Axe
from browsing import THEMES, WIDTHS, Window, served
from playwright.sync_api import Browser, Page
from test_import_page import row, written
from test_intake_page import TYPICAL
from web_world import World, make_world

pytestmark = pytest.mark.browser

PICTURES = Path(__file__).parents[2] / "docs/pictures"
REFUSED = "the server responded with a status of 400"
PAGES = (
    *("/clients/new", "/clients/import", "/practice", "/practice/trainers/1", "/export"),
    "/practice/programs",
    *("/practice/texts/en", "/practice/texts/es", "/practice/texts/en/safety_fall"),
    *("/clients/{ada}/start", "/clients/{ada}/picture", "/clients/{ada}/summary"),
    *("/clients/{ada}/summary?reader=client", "/clients/{ada}/export", "/clients/{ada}/erase"),
    *("/clients/{bo}/summary", "/p/not-there", "/clients/erased"),
)

WHOLE = ((1280, "light"), (360, "dark"))


@pytest.fixture(scope="module")
def practice(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[World, str]]:
    """A practice after some days, with a fall."""
    world = make_world(tmp_path_factory.mktemp("papers"), is_demo=True)
    world.pass_time(hours=2)
    for day in range(5):
        for who in ("ada", "bo"):
            world.reply(who, "20 steady" if day % 4 else "14 wobbly")
        world.pass_time(days=1)
    world.reply("bo", "I fell in the kitchen")
    with served(world) as address:
        yield world, address
    world.store.close()


def fill_in(page: Page, **changes: str) -> None:
    """The typical client, as a trainer clicks it together."""
    for name, value in {**TYPICAL, **changes}.items():
        for one in [value] if isinstance(value, str) else value:
            choice = page.locator(f'input[name="{name}"][value="{one}"]')
            if choice.count() and choice.get_attribute("type") in ("radio", "checkbox"):
                choice.check()
            else:
                page.fill(f'[name="{name}"]', one)


class Looked:
    """What was wrong on the pages looked at."""

    def __init__(self, window: Window) -> None:
        self.window = window
        self.wrong: list[str] = []
        self.whole = (window.width, window.theme) in WHOLE

    def at(self, name: str) -> None:
        """Every rule in two of the four views; in the others what differs between them."""
        found = self.window.axe() if self.whole else self._contrast()
        self.wrong += [f"{name} {one}" for one in found]
        if self.window.sideways() > 0:
            self.wrong.append(f"{name} is {self.window.sideways()} px too wide")

    def _contrast(self) -> list[str]:
        only = {"runOnly": ["color-contrast"], "resultTypes": ["violations"]}
        found = Axe().run(self.window.page, options=only).response["violations"]
        return [f"{rule['id']}: {node['html'][:200]}" for rule in found for node in rule["nodes"]]


def look_at_answers(window: Window, looked: Looked, ada: int, tmp_path: Path) -> None:
    """The pages that come back when something is filled in."""
    page = window.page
    page.goto("/clients/new")
    page.get_by_role("button", name="See what follows").click()
    looked.at("intake with everything missing")
    fill_in(page, aid="yes", phone="+44 20 7946 0018")
    page.get_by_role("button", name="See what follows").click()
    looked.at("what follows")
    for name, text in (("bad", written(row(1, phone="12"))), ("good", written(row(1), row(2)))):
        file = tmp_path / f"{name}.csv"
        file.write_text(text)
        page.goto("/clients/import")
        page.set_input_files("#file", file)
        page.get_by_role("button", name="See what it would do").click()
        looked.at(f"a {name} list")
    page.goto(f"/clients/{ada}/picture")
    page.get_by_role("button", name="Make a link").click()
    looked.at("a new link")
    link = page.locator(".done a").get_attribute("href")
    page.goto(urlsplit(str(link)).path)
    looked.at("the picture page")
    page.goto("/practice")
    page.locator("#facts > summary").click()
    page.fill("#escalate_minutes", "0")
    page.get_by_role("button", name="Save").click()
    looked.at("practice with a wrong field")
    page.goto("/practice/programs")
    page.fill("#name", "Records")
    page.get_by_label("see clients, their plans and ladders").check()
    page.get_by_role("button", name="Make the token").click()
    looked.at("a new token")
    page.fill("#hook_address", "https://1.2.3.4/alerts")
    page.get_by_role("button", name="Add the webhook").click()
    looked.at("a new webhook")
    page.get_by_role("button", name="Try https://1.2.3.4/alerts").first.click()
    looked.at("a webhook that was tried")
    page.fill("#hook_address", "https://127.0.0.1/")
    page.get_by_role("button", name="Add the webhook").click()
    looked.at("a webhook that is refused")
    page.goto("/practice/texts/en/safety_fall")
    page.fill("#body", "Never mind.")
    page.get_by_role("button", name="Use this wording").click()
    looked.at("a wording that is refused")
    page.goto(f"/clients/{ada}/erase")
    page.get_by_role("button", name="Go on").click()
    looked.at("erasing without a name")
    page.fill("#name", "Ada Sample")
    page.check('[name="understood"]')
    page.get_by_role("button", name="Go on").click()
    looked.at("erasing, once more")


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("width", WIDTHS)
def test_every_page_and_every_answer_is_accessible_and_quiet(
    practice: tuple[World, str], browser: Browser, tmp_path: Path, width: int, theme: str
) -> None:
    world, address = practice
    window = Window(browser, address, width, theme).sign_in("lena")
    page, looked = window.page, Looked(window)
    for path in PAGES:
        page.goto(path.format(**world.clients))
        looked.at(path)
    if looked.whole:
        look_at_answers(window, looked, world.clients["ada"], tmp_path)
    window.close()
    # The console tells of answers that say no, and of nothing else: no script, no policy broken.
    assert [one for one in window.complaints if REFUSED not in one and "404" not in one] == []
    assert looked.wrong == []


def test_the_whole_intake_works_without_a_script(browser: Browser, tmp_path: Path) -> None:
    world = make_world(tmp_path)
    with served(world) as address:
        window = Window(browser, address, scripts=False).sign_in()
        page = window.page
        page.goto("/clients")
        page.get_by_role("link", name="New client").click()
        fill_in(page)
        page.get_by_role("button", name="See what follows").click()
        assert page.get_by_text("Hello Edda, this is Harbour Balance").is_visible()
        page.get_by_label("Feet together, hover").check()
        page.get_by_role("button", name="Add Edda and send the first text").click()
        # Another first rung was chosen, so it is shown again before anything is stored.
        assert page.get_by_text("This is not what you saw before").is_visible()
        page.get_by_role("button", name="Add Edda and send the first text").click()
        assert page.get_by_role("heading", name="Edda Vorlage").is_visible()
        assert page.get_by_text("Hello Edda, this is Harbour Balance").first.is_visible()
        window.close()
    world.clients["edda"] = int(page.url.rpartition("/")[2])
    assert world.rung_of("edda") == "firm/parallel/o93/hover"
    world.store.close()


def test_fields_say_what_is_wrong_to_a_screen_reader(
    practice: tuple[World, str], browser: Browser
) -> None:
    window = Window(browser, practice[1]).sign_in()
    page = window.page
    page.goto("/clients/new")
    page.get_by_role("button", name="See what follows").click()
    described = page.locator("#phone").get_attribute("aria-describedby")
    assert described == "wrong-phone help-phone"
    assert page.locator("#wrong-phone").inner_text() == "Fill in the phone's number."
    page.locator("#to-put-right a", has_text="Phone").click()
    assert page.url.endswith("#phone")
    window.close()


def test_pictures_for_the_manual(
    practice: tuple[World, str], browser: Browser, tmp_path: Path
) -> None:
    world, address = practice
    folder = PICTURES if os.environ.get("RUNGWISE_PICTURES") == "1" else tmp_path
    window = Window(browser, address).sign_in("lena")
    page = window.page

    def draw(name: str, height: int, width: int = 1280, top: int = 0) -> None:
        page.screenshot(
            path=folder / f"page-{name}.png",
            full_page=True,
            clip={"x": 0, "y": top, "width": width, "height": height},
        )
        assert (folder / f"page-{name}.png").stat().st_size > 10_000

    page.goto("/clients/new")
    fill_in(page)
    page.get_by_role("button", name="See what follows").click()
    draw("intake", 1150)
    page.goto(f"/clients/{world.clients['ada']}/summary")
    draw("summary", 1300)
    page.goto("/practice")
    draw("practice", 1000)
    page.goto(f"/clients/{world.clients['ada']}/picture")
    page.get_by_role("button", name="Make a link").click()
    path = urlsplit(str(page.locator(".done a").get_attribute("href"))).path
    window.close()
    phone = Window(browser, address, 390)
    phone.page.goto(path)
    phone.page.screenshot(path=folder / "page-picture.png", full_page=True)
    phone.close()
