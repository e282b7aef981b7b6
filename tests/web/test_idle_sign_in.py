"""A sign-in that nobody uses ends, an open page is no use, and one that ended says so."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from browsing import Window, served
from playwright.sync_api import Browser
from sqlmodel import select
from stored_practice import store_practice
from web_world import World

from rungwise.settings import Settings, WrongSetting
from rungwise.store import Store
from rungwise.store.tables import SignIn
from rungwise.web.http.auth import find_sign_in, hashed

START = datetime(2026, 3, 2, 13, 0, tzinfo=UTC)


@pytest.fixture
def hourly(world: World) -> World:
    """The practice with the settings that an installation starts with."""
    settings = world.parts.settings
    usual = Settings(
        database_url=settings.database_url, ticks=False, handset_token=settings.handset_token
    )
    assert (usual.sign_in_idle_minutes, usual.sign_in_hours) == (60, 12)
    world.parts = world.app.state.parts = replace(world.parts, settings=usual)
    return world


def signed_in(world: World, browser) -> bool:
    return browser.get("/account").status_code == 200


def test_an_hour_without_use_ends_it_and_the_page_opens_after_signing_in(hourly: World) -> None:
    browser = hourly.signed_in().browser
    hourly.clock.advance(timedelta(minutes=59))
    assert signed_in(hourly, browser)
    hourly.clock.advance(timedelta(minutes=61))
    answer = browser.get("/clients?sort=name")
    assert answer.status_code == 303
    assert answer.headers["location"] == "/sign-in?next=/clients%3Fsort%3Dname"


def test_use_keeps_it_alive_but_no_longer_than_the_whole(hourly: World) -> None:
    browser = hourly.signed_in().browser
    for _ in range(23):
        hourly.clock.advance(timedelta(minutes=30))
        assert signed_in(hourly, browser)
    hourly.clock.advance(timedelta(minutes=31))
    assert not signed_in(hourly, browser)


def test_what_a_page_asks_by_itself_is_no_use(hourly: World) -> None:
    browser = hourly.signed_in().browser
    for _ in range(4):
        hourly.clock.advance(timedelta(minutes=20))
        browser.get("/", headers={"X-Renews": "1"})
    assert not signed_in(hourly, browser)


def test_use_is_noted_by_the_minute_and_not_for_every_page(hourly: World) -> None:
    def noted() -> datetime | None:
        with hourly.store.read() as session:
            return session.exec(select(SignIn.used_at).order_by(SignIn.id.desc())).first()

    browser = hourly.signed_in().browser
    browser.get("/account")
    first = noted()
    hourly.clock.advance(timedelta(seconds=59))
    browser.get("/account")
    assert noted() == first == START
    hourly.clock.advance(timedelta(seconds=1))
    browser.get("/account")
    assert noted() == START + timedelta(minutes=1)


def test_one_that_idles_is_not_listed_among_ones_sign_ins(hourly: World) -> None:
    hourly.signed_in()
    hourly.clock.advance(timedelta(minutes=90))
    page = hourly.signed_in().page("/account")
    assert page.count("since <time") == 1
    assert "for 60 minutes" in page


@pytest.mark.parametrize(("idle", "lives"), [(timedelta(minutes=30), False), (None, True)])
def test_on_both_databases(store: Store, idle: timedelta | None, lives: bool) -> None:
    with store.write() as session:
        session.add(
            SignIn(
                trainer_id=store_practice(session).id,
                token_hash=hashed("token"),
                csrf="x",
                created_at=START,
                used_at=START + timedelta(minutes=20),
                expires_at=START + timedelta(hours=12),
            )
        )
    with store.read() as session:
        assert find_sign_in(session, "token", START + timedelta(minutes=49), idle) is not None
        later = find_sign_in(session, "token", START + timedelta(minutes=51), idle)
        assert (later is not None) is lives


@pytest.mark.parametrize(
    ("name", "value"),
    [("SIGN_IN_IDLE_MINUTES", "1"), ("SIGN_IN_IDLE_MINUTES", "1e9"), ("SIGN_IN_HOURS", "337")],
)
def test_the_settings_are_bounded(name: str, value: str) -> None:
    with pytest.raises(WrongSetting, match=name):
        Settings.from_environment({f"RUNGWISE_{name}": value})


@pytest.mark.browser
def test_an_open_inbox_that_ended_shows_the_sign_in_and_not_an_old_list(
    hourly: World, browser: Browser
) -> None:
    with served(hourly) as address:
        window = Window(browser, address).sign_in()
        assert window.page.get_by_role("heading", level=1).inner_text() == "Monday 2 March"
        hourly.clock.advance(timedelta(minutes=61))
        window.page.wait_for_url(f"{address}/sign-in**")
        window.close()
