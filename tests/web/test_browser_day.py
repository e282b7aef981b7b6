"""A trainer's day in a real browser: a fall comes in, is handled, the client goes on elsewhere."""

from io import BytesIO

import pytest
from browsing import Window, answer_unhurt, served
from playwright.sync_api import Browser, expect
from pypdf import PdfReader
from test_intake_browser import fill_in
from web_world import World

pytestmark = pytest.mark.browser


@pytest.mark.parametrize("scripts", [True, False], ids=["scripts", "no scripts"])
def test_a_fall_from_the_phone_to_the_next_prompt(
    world: World, browser: Browser, scripts: bool
) -> None:
    world.pass_time(hours=2)
    with served(world) as address:
        window = Window(browser, address, scripts=scripts).sign_in()
        page = window.page

        # Ada answers on her phone.
        page.locator(".me summary").click()
        page.get_by_role("link", name="Practice phone").click()
        page.get_by_label("Whose phone").select_option("Ada Sample")
        page.get_by_role("button", name="Pick it up").click()
        expect(page.get_by_text("Feet side by side").first).to_be_visible()
        page.get_by_label("Reply as Ada").fill("20 but then I fell in the kitchen")
        page.get_by_role("button", name="Send").click()
        expect(page.get_by_text("20 but then I fell in the kitchen")).to_be_visible()
        world.tick()
        page.get_by_role("link", name="Look again").click()
        expect(page.get_by_text("Stop and sit, or stay lying.")).to_be_visible()

        # The fall is in front of the trainer, who answers the checklist and presses once.
        page.get_by_role("link", name="Day").click()
        expect(page.get_by_role("heading", name="Ada Sample: Fall")).to_be_visible()
        expect(page.locator("mark", has_text="fell").first).to_be_visible()
        page.get_by_role("link", name="Ada Sample: Fall").click()
        answer_unhurt(page)
        page.get_by_role("button", name="Phoned: all is well").click()
        expect(page.locator(".done")).to_contain_text("Handled: Fall, Ada Sample")
        assert world.client("ada").state == "resting"

        # A misread press is taken back, and this time Ada goes on from where she was.
        page.get_by_role("button", name="Undo").click()
        page.get_by_label("From here on").select_option(index=1)
        page.get_by_role("button", name="Phoned: all is well").click()
        world.tick()
        assert world.client("ada").state == "active"

        # The trainer puts her on another rung, by drawing and words, with a reason.
        page.get_by_role("link", name="Clients").click()
        page.get_by_role("link", name="Ada Sample").click()
        page.get_by_role("link", name="Another rung").click()
        page.get_by_label("Side by side, 7.5 cm apart, hover").check()
        if not scripts:
            page.get_by_role("button", name="Show what it would mean").click()
        expect(page.get_by_text("Hands just above the counter").first).to_be_visible()
        text = page.locator("p.sent").first.inner_text()
        page.get_by_label("Why?").fill("Held it well at the visit")
        page.get_by_role("button", name="Put Ada on this rung").click()
        expect(page.get_by_text("Held it well at the visit").first).to_be_visible()

        # The next morning the very text that was shown is on her phone.
        world.pass_time(days=1)
        window.sign_in()
        page.goto(f"/phone?client={world.clients['ada']}")
        expect(page.get_by_text(text)).to_be_visible()
        assert world.sent("ada", "prompt")[-1].body == text

        # A new client is screened, placed and sent the first text.
        page.get_by_role("link", name="Clients").click()
        page.get_by_role("link", name="New client").click()
        fill_in(page)
        page.get_by_role("button", name="See what follows").click()
        page.get_by_role("button", name="Add Edda and send the first text").click()
        expect(page.get_by_role("heading", name="Edda Vorlage")).to_be_visible()

        # For the family and the doctor: two printed pages of what Ada has done.
        page.get_by_role("link", name="Clients", exact=True).click()
        page.get_by_role("link", name="Ada Sample").click()
        page.get_by_role("link", name="Progress summary").click()
        printed = PdfReader(BytesIO(page.pdf(prefer_css_page_size=True)))
        assert len(printed.pages) == 2
        assert "Ada Sample" in printed.pages[0].extract_text()
        assert window.complaints == []
        window.close()


def test_the_inbox_shows_a_new_alert_by_itself(world: World, browser: Browser) -> None:
    with served(world) as address:
        window = Window(browser, address).sign_in()
        page = window.page
        expect(page.get_by_text("No alert is open.")).to_be_visible()
        page.evaluate("window.same = true")
        world.reply("ada", "fell in the kitchen")
        expect(page.get_by_role("link", name="Ada Sample: Fall")).to_be_visible()
        expect(page.get_by_role("link", name="1 to phone now")).to_be_visible()
        expect(page).to_have_title("(1) Day · Harbour Balance")
        expect(page.get_by_role("status")).to_have_text(
            "The alerts have changed and are shown anew."
        )
        assert page.evaluate("window.same"), "the page was not loaded again, only renewed"
        world.reply("cy", "fell too")  # another trainer's client
        world.reply("bo", "what is hover?")
        expect(page.get_by_role("link", name="Bo Specimen: Asks for something")).to_be_visible()
        assert page.get_by_text("Cy Instance").count() == 0
        assert window.complaints == []
        window.close()


def test_the_phone_shows_a_new_text_by_itself_and_keeps_what_is_typed(
    world: World, browser: Browser
) -> None:
    with served(world) as address:
        window = Window(browser, address).sign_in()
        page = window.page
        page.goto(f"/phone?client={world.clients['ada']}")
        page.get_by_label("Reply as Ada").fill("20 stea")
        world.pass_time(hours=2)
        expect(page.get_by_text("Feet side by side")).to_be_visible()
        expect(page.get_by_label("Reply as Ada")).to_have_value("20 stea")
        assert window.complaints == []
        window.close()


def test_one_key_handles_an_opened_alert(world: World, browser: Browser) -> None:
    world.reply("ada", "my knee hurts")
    world.reply("bo", "what is hover?")
    with served(world) as address:
        window = Window(browser, address).sign_in()
        page = window.page
        page.get_by_role("link", name="Ada Sample: Pain").focus()
        page.keyboard.press("j")
        expect(page.get_by_role("link", name="Bo Specimen: Asks for something")).to_be_focused()
        page.keyboard.press("k")
        page.keyboard.press("Enter")
        expect(page.get_by_role("heading", name="Ada Sample: Pain")).to_be_focused()
        page.keyboard.press("2")
        expect(
            page.get_by_text("Handled: Pain, Ada Sample. Phoned: will see a doctor")
        ).to_be_visible()
        (alert,) = world.alerts("ada")
        assert alert.what_done == "Phoned: will see a doctor first"
        # In a field a key is a letter.
        page.get_by_role("link", name="Bo Specimen: Asks for something").click()
        page.get_by_label("Note for the record").press_sequentially("1 2 3")
        assert world.alerts("bo")[0].state == "seen"
        assert window.complaints == []
        window.close()
