"""From an invitation to a sign-in with two factors, in a real browser; and no page unlooked at."""

import re
from urllib.parse import urlsplit

import pyotp
import pytest
import test_browser_evidence
import test_browser_pages
import test_duty_page
import test_intake_browser
from browsing import Window, served
from fastapi.routing import APIRoute
from playwright.sync_api import Browser, expect
from starlette.routing import Route
from test_web_routes import flat
from web_world import World

pytestmark = pytest.mark.browser

VIEWS = ((1280, "light"), (360, "dark"), (360, "light"), (1280, "dark"))
NEW_PASSWORD = "lantern-orchard-drizzle-forty"
# Pages that this file looks at, by their routes.
HERE = ("/sign-in", "/sign-in/code", "/welcome/{token}", "/practice/sign-ins")
HERE += ("/account/second-factor",)
# Shown only where mail is set up, which this practice is not; made of the sign-in's own parts.
HERE += ("/sign-in/forgotten",)
# Looked at where they are used, with what they need: a group, a note, a leaver, a text.
USED = ("/clients/many", "/clients/many/{act_id}", "/notes/{note_id}")
USED += ("/practice/trainers/{trainer_id}/hand-over",)
USED += ("/clients/{client_id}/texts/{text_id}/reading",)
# These only lead elsewhere: to an incident, to an organisation's sign-in and back.
LEADS_ON = ("/i/{link}", "/sign-in/organisation", "/sign-in/organisation/back")
# Routes that show no page, by how they end or begin.
NO_PAGE = re.compile(r"\.(csv|svg|png|ics|json|pdf)$|^/(live|in/|healthz|readyz|metrics|api/)")


def looked(window: Window, name: str) -> list[str]:
    wrong = [f"{name} {found}" for found in window.axe()]
    return wrong + ([f"{name} is too wide"] if window.sideways() > 0 else [])


@pytest.mark.parametrize(("width", "theme"), VIEWS)
def test_from_an_invitation_to_two_factors(
    world: World, browser: Browser, width: int, theme: str
) -> None:
    with served(world) as address:
        lead = Window(browser, address, width, theme)
        lead.page.goto("/sign-in")
        wrong = looked(lead, "sign-in")
        lead.sign_in("lena").page.goto("/practice/sign-ins")
        lead.page.get_by_label("Name").fill("Nia Newcome")
        lead.page.get_by_label("E-mail address").fill("nia@example.org")
        lead.page.get_by_role("button", name="Make the link").click()
        wrong += looked(lead, "the link made")
        link = lead.page.locator("#link").input_value()

        window = Window(browser, address, width, theme)
        page = window.page
        page.goto(urlsplit(link).path)
        wrong += looked(window, "welcome")
        page.get_by_label("password").first.fill(NEW_PASSWORD)
        page.locator("main button").click()
        page.get_by_label("E-mail address").fill("nia@example.org")
        page.get_by_label("Password").fill(NEW_PASSWORD)
        page.get_by_role("button", name="Sign in").click()

        page.goto("/account/second-factor")
        wrong += looked(window, "no factor")
        page.get_by_label("Your password, once more").fill(NEW_PASSWORD)
        page.get_by_role("button", name="Set it up").click()
        wrong += looked(window, "the code to read")
        code = pyotp.TOTP(page.locator("main code").inner_text().replace(" ", ""))
        page.get_by_label("The six digits").fill(code.at(world.clock.now()))
        page.get_by_role("button", name="Turn it on").click()
        expect(page.get_by_role("heading", name="Recovery codes")).to_be_visible()
        wrong += looked(window, "recovery codes")
        recovery = page.locator(".codes code").first.inner_text()

        page.context.clear_cookies()
        page.goto("/sign-in")
        page.get_by_label("E-mail address").fill("nia@example.org")
        page.get_by_label("Password").fill(NEW_PASSWORD)
        page.get_by_role("button", name="Sign in").click()
        page.wait_for_url("**/sign-in/code*")
        wrong += looked(window, "the second step")
        page.locator('[name="code"]').fill(recovery)
        page.locator("main button").click()
        expect(page.get_by_role("heading", name="Monday 2 March")).to_be_visible()
        complaints = lead.complaints + window.complaints
        lead.close()
        window.close()
    assert complaints == []
    assert wrong == []


def not_looked_at(world: World) -> list[str]:
    """Routes with a page of their own that no list of pages for axe has."""
    pages = (
        *test_browser_pages.PAGES.values(),
        *test_browser_evidence.PAGES,
        *test_intake_browser.PAGES,
        *test_duty_page.PAGES,
    )
    paths = [re.sub(r"\{\w+\}", "1", page.partition("?")[0]) for page in pages]
    return [
        route.path
        for route in flat(world.app.routes)
        if isinstance(route, Route | APIRoute)
        and "GET" in (route.methods or ())
        and route.path not in (*HERE, *USED, *LEADS_ON)
        and not NO_PAGE.search(route.path)
        and not any(route.path_regex.match(path) for path in paths)
    ]


def test_every_page_is_looked_at_in_a_browser(world: World) -> None:
    assert not_looked_at(world) == []


def test_a_page_that_nobody_looks_at_is_named(world: World) -> None:
    world.app.get("/a-new-page")(lambda: "")
    assert not_looked_at(world) == ["/a-new-page"]
