"""Passkeys in a real Chromium with its virtual authenticator (WebAuthn's own test interface)."""

import re
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from urllib.parse import unquote_plus

import pytest
import uvicorn
from browsing import Window, launch
from playwright.sync_api import Browser, CDPSession, expect, sync_playwright
from sqlmodel import select
from waiting import PATIENCE_S
from web_world import PASSWORD, World, make_world

from rungwise.app import create_app
from rungwise.coach.accounts.passkeys import CHALLENGE_LASTS, site_of
from rungwise.parts import Parts
from rungwise.store.tables import Audit, Passkey, PasskeyChallenge, Trainer

PAGE = "/account/second-factor"


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        found = launch(playwright)
        yield found
        found.close()


@contextmanager
def served_by_name(world: World) -> Iterator[str]:
    """The practice at localhost: browsers make passkeys for names, not for numbers."""
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        address = f"http://localhost:{listening.getsockname()[1]}"
        parts = world.parts
        settings = parts.settings.model_copy(update={"public_url": address})
        world.app = create_app(parts=Parts(settings, parts.store, parts.clock, parts.carriers))
        server = uvicorn.Server(uvicorn.Config(world.app, log_level="warning"))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
        thread.start()
        while not server.started:
            assert thread.is_alive()
            time.sleep(0.02)
        try:
            yield address
        finally:
            server.should_exit = True
            thread.join(PATIENCE_S)


@pytest.fixture
def window(world: World, browser: Browser) -> Iterator[Window]:
    with served_by_name(world) as address:
        opened = Window(browser, address)
        yield opened
        opened.close()


def authenticator(window: Window, *, verifies: bool = True) -> tuple[CDPSession, str]:
    """A device with a place for passkeys, whose owner always agrees."""
    session = window.context.new_cdp_session(window.page)
    session.send("WebAuthn.enable")
    made = session.send(
        "WebAuthn.addVirtualAuthenticator",
        {
            "options": {
                "protocol": "ctap2",
                "transport": "internal",
                "hasResidentKey": True,
                "hasUserVerification": True,
                "isUserVerified": verifies,
                "automaticPresenceSimulation": True,
            }
        },
    )
    return session, made["authenticatorId"]


def add_passkey(window: Window, name: str = "My phone") -> list[str]:
    page = window.page
    page.goto(PAGE)
    page.get_by_label("A name for it").fill(name)
    page.get_by_label("Your password for it, once more").fill(PASSWORD)
    page.get_by_role("button", name="Add the passkey").click()
    expect(page.get_by_role("heading", name=name)).to_be_visible()
    return page.locator(".codes code").all_inner_texts()


def sign_out(window: Window) -> None:
    window.context.clear_cookies()
    window.page.goto("/sign-in")


def test_a_passkey_signs_in_alone(world: World, window: Window) -> None:
    authenticator(window)
    codes = add_passkey(window.sign_in("tess"))
    assert len(codes) == 10
    assert window.axe() == []
    sign_out(window)
    assert window.axe() == []
    window.page.get_by_role("button", name="Use a passkey").click()
    expect(window.page.get_by_role("heading", name="To see")).to_be_visible()
    assert window.complaints == []
    with world.store.read() as session:
        (kept,) = session.exec(select(Passkey)).all()
        assert kept.used_at is not None
        assert session.exec(select(PasskeyChallenge)).all() == []
        actions = [line.action for line in session.exec(select(Audit)).all()]
    assert "passkey added" in actions


def test_a_passkey_is_the_second_factor_after_the_password(world: World, window: Window) -> None:
    authenticator(window)
    codes = add_passkey(window.sign_in("tess"))
    sign_out(window)
    page = window.page
    page.get_by_label("E-mail address").fill("tess@example.org")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in", exact=True).click()
    page.wait_for_url("**/sign-in/code*")
    assert window.axe() == []
    page.get_by_role("button", name="Use your passkey").click()
    expect(page.get_by_role("heading", name="To see")).to_be_visible()
    # A recovery code does too, once.
    sign_out(window)
    page.get_by_label("E-mail address").fill("tess@example.org")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in", exact=True).click()
    page.locator('[name="code"]').fill(codes[0])
    page.get_by_role("button", name="Sign in", exact=True).click()
    expect(page.get_by_role("heading", name="To see")).to_be_visible()


def test_alone_a_device_must_make_sure_who_holds_it(world: World, window: Window) -> None:
    session, device = authenticator(window)
    add_passkey(window.sign_in("tess"))
    session.send("WebAuthn.setUserVerified", {"authenticatorId": device, "isUserVerified": False})
    sign_out(window)
    window.page.get_by_role("button", name="Use a passkey").click()
    expect(window.page.get_by_text("No passkey was used.")).to_be_visible()


def caught_answer(world: World, window: Window) -> dict[str, str]:
    """The form that a browser was about to send, caught on its way."""
    caught: list[str] = []
    window.page.route("**/sign-in/passkey", lambda route: _catch(route, caught))
    sign_out(window)
    window.page.get_by_role("button", name="Use a passkey").click()
    window.page.wait_for_event("requestfailed")
    fields = dict(re.findall(r"(\w+)=([^&]*)", caught[-1]))
    return {name: unquote_plus(fields[name]) for name in ("csrf", "credential")}


def send(world: World, window: Window, form: dict[str, str]) -> int:
    """Send it from the browser that it was caught from; the answer's status."""
    own = world.browser()
    for cookie in window.context.cookies():
        own.cookies.set(cookie["name"], cookie["value"])
    return own.post("/sign-in/passkey", data=form).status_code


def test_an_answer_is_taken_once_and_only_from_its_own_browser(
    world: World, window: Window
) -> None:
    authenticator(window)
    add_passkey(window.sign_in("tess"))
    form = caught_answer(world, window)
    stranger = world.browser()
    csrf = re.search(r'name="csrf" value="([^"]+)"', stranger.get("/sign-in").text)[1]
    assert stranger.post("/sign-in/passkey", data={**form, "csrf": csrf}).status_code == 401
    assert send(world, window, form) == 303, "a stranger's try does not use it up"
    assert send(world, window, form) == 401


def _catch(route, caught: list[str]) -> None:
    caught.append(route.request.post_data)
    route.abort()


def test_an_old_challenge_is_none(world: World, window: Window) -> None:
    authenticator(window)
    add_passkey(window.sign_in("tess"))
    form = caught_answer(world, window)
    world.clock.advance(CHALLENGE_LASTS + timedelta(seconds=1))
    assert send(world, window, form) == 401


def test_a_passkey_removed_opens_nothing_and_the_last_takes_the_factor_off(
    world: World, window: Window
) -> None:
    authenticator(window)
    add_passkey(window.sign_in("tess"))
    page = window.page
    page.get_by_text("Remove it").click()
    page.get_by_label("Your password, once more").last.fill(PASSWORD)
    page.get_by_role("button", name="Remove My phone").click()
    expect(page.get_by_role("heading", name="My phone")).to_have_count(0)
    with world.store.read() as session:
        assert session.get_one(Trainer, world.trainers["tess"]).factor_since is None
    sign_out(window)
    page.get_by_role("button", name="Use a passkey").click()
    expect(page.get_by_text("This passkey was not taken.")).to_be_visible()


@pytest.mark.parametrize(
    "answer",
    ["", "{}", "[]", "null", '{"id":1}', '{"response":{"clientDataJSON":"!!"}}', "[" * 9000],
)
def test_an_answer_that_is_none_is_refused(tmp_path, answer: str) -> None:
    world = make_world(tmp_path)
    parts = world.parts
    settings = parts.settings.model_copy(update={"public_url": "https://coach.example.org"})
    world.app = create_app(parts=Parts(settings, parts.store, parts.clock, parts.carriers))
    browser = world.browser()
    browser.headers["host"] = "coach.example.org"
    csrf = re.search(r'name="csrf" value="([^"]+)"', browser.get("/sign-in").text)[1]
    done = browser.post("/sign-in/passkey", data={"csrf": csrf, "credential": answer})
    assert done.status_code == 401
    world.store.close()


def test_adding_one_needs_the_password(world: World, window: Window) -> None:
    authenticator(window)
    window.sign_in("tess")
    page = window.page
    page.goto(PAGE)
    page.get_by_label("A name for it").fill("Theirs")
    page.get_by_label("Your password for it, once more").fill("a wrong password")
    page.get_by_role("button", name="Add the passkey").click()
    expect(page.get_by_text("This is not your password now.")).to_be_visible()
    with world.store.read() as session:
        assert session.exec(select(Passkey)).all() == []


@pytest.mark.parametrize(
    ("address", "offered"),
    [
        ("https://coach.example.org", True),
        ("https://coach.example.org:8443", True),
        ("http://coach.example.org", False),
        ("http://127.0.0.1:8780", False),
        ("https://192.0.2.7", False),
        ("http://localhost:8780", True),
    ],
)
def test_passkeys_are_offered_where_browsers_have_them(address: str, offered: bool) -> None:
    """WebAuthn level 2, section 5.1.3: a secure context, and a domain."""
    assert (site_of(address) is not None) == offered


def test_where_none_are_offered_their_addresses_are_not_found(world: World) -> None:
    assert "passkey" not in world.browser().get("/sign-in").text
    browser = world.signed_in("tess")
    assert browser.post("/account/passkeys/options", password=PASSWORD).status_code == 404
    assert "Passkeys" not in browser.page(PAGE)
