"""The second factor: asked for, used once, throttled, and not to be taken off by a stranger."""

import re
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from html import unescape
from urllib.parse import unquote
from xml.etree import ElementTree

import pyotp
import pytest
from fastapi.testclient import TestClient
from sqlalchemy import text
from sqlmodel import Session, col, select
from stores import empty
from waiting import PATIENCE_S, until
from web_world import PASSWORD, SignedIn, World, csrf_of, sign_in

from rungwise.coach.accounts import second_factor
from rungwise.coach.accounts.second_factor import RECOVERY_CODES, passes
from rungwise.coach.accounts.trainers import add_trainer
from rungwise.store import Store
from rungwise.store.tables import Audit, Practice, RecoveryCode, SignIn, Trainer

PAGE = "/account/second-factor"


def secret_of(world: World, who: str = "tess") -> str:
    with world.store.read() as session:
        return session.get_one(Trainer, world.trainers[who]).factor_secret or ""


def code(world: World, who: str = "tess") -> str:
    return pyotp.TOTP(secret_of(world, who)).at(world.clock.now())


def set_up(world: World, who: str = "tess") -> tuple[SignedIn, list[str]]:
    """A second factor as a person sets one up; gives the recovery codes that were shown."""
    browser = world.signed_in(who)
    assert browser.post(f"{PAGE}/begin", password=PASSWORD).status_code == 303
    page = browser.page(PAGE)
    assert secret_of(world, who) == "".join(
        re.findall(r"<code>([A-Z2-7 ]+)</code>", page)[0].split()
    )
    assert 'src="data:image/svg+xml;' in page
    done = browser.post(f"{PAGE}/confirm", code=code(world, who))
    assert done.status_code == 200, done.text
    world.clock.advance(timedelta(seconds=30))
    return browser, re.findall(r"<code>((?:[A-Z2-9]{4}-){3}[A-Z2-9]{4})</code>", done.text)


def half_way(world: World, who: str = "tess") -> TestClient:
    """A browser that gave the right password and is asked for the code."""
    browser = world.browser()
    done = sign_in(browser, f"{who}@example.org", PASSWORD)
    assert (done.status_code, done.headers["location"]) == (303, "/sign-in/code")
    return browser


def give(browser: TestClient, typed: str, **more: str):
    token = csrf_of(browser.get("/sign-in/code").text)
    return browser.post("/sign-in/code", data={"csrf": token, "code": typed, **more})


def test_after_setting_up_the_password_alone_opens_nothing(world: World) -> None:
    _, codes = set_up(world)
    assert len(set(codes)) == RECOVERY_CODES
    browser = half_way(world)
    for address in ("/", "/clients", "/account", PAGE):
        assert browser.get(address).headers["location"].startswith("/sign-in")
    assert browser.post("/sign-out").headers["location"].startswith("/sign-in")
    # Not even when the half-way cookie is put in the other's place.
    browser.cookies.set("rungwise", browser.cookies["rungwise-half"])
    assert browser.get("/").headers["location"].startswith("/sign-in")


def test_the_code_opens_the_page_that_was_asked_for_in_a_new_session(world: World) -> None:
    set_up(world)
    browser = half_way(world)
    half = browser.cookies["rungwise-half"]
    done = give(browser, code(world), next="/clients?q=ada")
    assert (done.status_code, done.headers["location"]) == (303, "/clients?q=ada")
    assert browser.cookies["rungwise"] != half
    assert "rungwise-half" not in browser.cookies
    assert browser.get("/").status_code == 200


def test_a_code_works_once(world: World) -> None:
    set_up(world)
    typed = code(world)
    assert give(half_way(world), typed).status_code == 303
    again = give(half_way(world), typed)
    assert again.status_code == 401
    assert "used before" in again.text


@pytest.mark.parametrize("off_s", [-30, 0, 30])
def test_a_clock_may_be_off_by_half_a_minute(world: World, off_s: int) -> None:
    set_up(world)
    world.clock.advance(timedelta(minutes=5))
    browser = half_way(world)
    typed = pyotp.TOTP(secret_of(world)).at(world.clock.now() + timedelta(seconds=off_s))
    assert give(browser, typed).status_code == 303


@pytest.mark.parametrize(
    "typed", ["", "000000", "١٢٣٤٥٦", "12 34", "x" * 100, "1e5", "AAAA-AAAA-AAAA-AAAA"]
)
def test_anything_else_does_not(world: World, typed: str) -> None:
    set_up(world)
    browser = half_way(world)
    assert give(browser, typed).status_code == 401
    assert browser.get("/").status_code == 303


def test_an_older_code_does_not(world: World) -> None:
    set_up(world)
    world.clock.advance(timedelta(minutes=5))
    typed = pyotp.TOTP(secret_of(world)).at(world.clock.now() - timedelta(seconds=65))
    assert give(half_way(world), typed).status_code == 401


def test_a_recovery_code_signs_in_once_however_it_is_typed(world: World) -> None:
    _, codes = set_up(world)
    assert give(half_way(world), f" {codes[0].lower().replace('-', ' ')} ").status_code == 303
    assert give(half_way(world), codes[0]).status_code == 401
    browser = half_way(world)
    assert give(browser, codes[1]).status_code == 303
    assert f"{RECOVERY_CODES - 2} recovery codes left" in browser.get("/account").text
    with world.store.read() as session:
        assert not [row for row in session.exec(select(RecoveryCode)) if row.code_hash in codes]
        used = select(Audit).where(Audit.action == "recovery code used")
        told = session.exec(used.order_by(col(Audit.id))).all()
        assert [line.detail for line in told] == [{"left": 9}, {"left": 8}]


def test_another_trainers_recovery_code_does_not(world: World) -> None:
    _, codes = set_up(world, "omar")
    set_up(world, "tess")
    assert give(half_way(world, "tess"), codes[0]).status_code == 401


def test_guessing_codes_is_slowed_down_also_with_the_password_again(world: World) -> None:
    set_up(world)
    for _ in range(5):
        assert give(half_way(world), "000000").status_code == 401
    refused = give(half_way(world), code(world))
    assert refused.status_code == 429
    assert "Too many tries" in refused.text
    world.clock.advance(timedelta(minutes=16))
    assert give(half_way(world), code(world)).status_code == 303


def test_the_second_step_does_not_wait_for_ever(world: World) -> None:
    set_up(world)
    browser = half_way(world)
    world.clock.advance(timedelta(minutes=11))
    assert browser.get("/sign-in/code").headers["location"].startswith("/sign-in")


def test_a_form_of_another_site_cannot_give_the_code(world: World) -> None:
    set_up(world)
    browser = half_way(world)
    form = {"code": code(world)}
    assert browser.post("/sign-in/code", data=form).status_code == 403
    assert browser.post("/sign-in/code", data={**form, "csrf": "x"}).status_code == 403


@pytest.mark.parametrize("elsewhere", ["https://example.net/", "//example.net", "/\\example.net"])
def test_the_second_step_leads_to_no_other_site(world: World, elsewhere: str) -> None:
    set_up(world)
    assert give(half_way(world), code(world), next=elsewhere).headers["location"] == "/"


def test_setting_up_ends_the_other_browsers(world: World) -> None:
    other = world.signed_in()
    here, _ = set_up(world)
    assert other.get("/").status_code == 303
    here.page("/")


def test_an_open_browser_is_not_enough_to_change_it(world: World) -> None:
    browser = world.signed_in()
    for form in ({}, {"password": "wrong password"}):
        assert browser.post(f"{PAGE}/begin", **form).status_code == 400
    assert secret_of(world) == ""
    browser, _ = set_up(world)
    assert browser.post(f"{PAGE}/remove", password="wrong password").status_code == 400
    assert browser.post(f"{PAGE}/codes", code="000000").status_code == 400
    assert secret_of(world) != ""
    for _ in range(5):
        told = browser.post(f"{PAGE}/remove", password="wrong password")
    assert "Too many tries" in told.text
    assert "Too many tries" in browser.post(f"{PAGE}/remove", password=PASSWORD).text


def test_it_can_be_taken_off_with_the_password(world: World) -> None:
    browser, codes = set_up(world)
    assert browser.post(f"{PAGE}/remove", password=PASSWORD).status_code == 303
    assert sign_in(world.browser(), "tess@example.org", PASSWORD).headers["location"] == "/"
    with world.store.read() as session:
        trainer = session.get_one(Trainer, world.trainers["tess"])
        assert session.exec(select(RecoveryCode)).all() == []
        assert not passes(session, world.clock.now(), trainer, codes[0])


def test_new_recovery_codes_end_the_old(world: World) -> None:
    browser, old = set_up(world)
    done = browser.post(f"{PAGE}/codes", code=code(world))
    new = re.findall(r"<code>((?:[A-Z2-9]{4}-){3}[A-Z2-9]{4})</code>", done.text)
    assert len(new) == RECOVERY_CODES
    assert not set(new) & set(old)
    assert give(half_way(world), old[0]).status_code == 401
    assert give(half_way(world), new[0]).status_code == 303


def test_the_codes_and_the_secret_are_shown_no_second_time(world: World) -> None:
    browser, codes = set_up(world)
    page = browser.page(PAGE)
    assert codes[0] not in page
    assert secret_of(world) not in page.replace(" ", "")
    assert "data:image/svg" not in page


def test_a_practice_may_ask_everybody_for_one(world: World) -> None:
    lead = world.signed_in("lena")
    assert world.signed_in("tess").post("/practice/second-factor", needed="true").status_code == 400
    assert lead.post("/practice/second-factor", needed="true").status_code == 303
    with world.store.read() as session:
        assert session.get_one(Practice, 1).needs_factor
    browser = world.signed_in("tess").browser
    for address in ("/", "/clients", "/clients/1", "/account"):
        answer = browser.get(address)
        assert (answer.status_code, answer.headers["location"]) == (303, PAGE), address
    token = csrf_of(browser.get(PAGE).text)
    refused = browser.post("/clients/1/pause", data={"csrf": token})
    assert refused.headers["location"] == PAGE
    assert "asks everybody" in browser.get(PAGE).text
    browser.post(f"{PAGE}/begin", data={"csrf": token, "password": PASSWORD})
    done = browser.post(f"{PAGE}/confirm", data={"csrf": token, "code": code(world)})
    assert done.status_code == 200
    assert browser.get("/").status_code == 200


@pytest.mark.postgres
def test_the_same_recovery_code_twice_at_once_opens_one_door(postgres_store: Store) -> None:
    """Two transactions race. The second has begun before the first has ended, and waits for it."""
    now = datetime(2026, 3, 2, 15, tzinfo=UTC)
    with postgres_store.write() as session:
        practice = Practice(name="P", phone="+12025550100", created_at=now)
        session.add(practice)
        session.flush()
        trainer = add_trainer(session, now, practice, "Tess", "tess@example.org", PASSWORD)
        secret = second_factor.begin(session, trainer)
        session.flush()
        codes = second_factor.confirm(session, now, trainer, pyotp.TOTP(secret).at(now))
        trainer_id = trainer.id

    def try_it(session: Session) -> bool:
        return passes(session, now, session.get_one(Trainer, trainer_id), codes[3])

    def second() -> bool:
        with postgres_store.write() as session:
            return try_it(session)

    try:
        with ThreadPoolExecutor(1) as other:
            with postgres_store.write() as session:
                assert try_it(session)
                session.flush()
                late = other.submit(second)
                until(lambda: late.done() or is_waiting(postgres_store))
            assert not late.result(PATIENCE_S)
    finally:
        empty(postgres_store)


def is_waiting(store: Store) -> bool:
    """Whether a transaction of this database waits for a row that another holds."""
    held = "SELECT count(*) FROM pg_stat_activity WHERE wait_event_type = 'Lock'"
    with store.read() as session:
        return session.connection().execute(text(held)).scalar_one() > 0


def test_an_apps_code_that_another_browser_just_used_opens_no_second_door(world: World) -> None:
    """The trainer was read before the other browser's use was stored."""
    set_up(world)
    typed = code(world)
    now = world.clock.now()
    with world.store.write() as session:
        trainer = session.get_one(Trainer, world.trainers["tess"])
        step = int(now.timestamp()) // second_factor.STEP_S
        session.connection().execute(text("UPDATE trainer SET factor_step = :step"), {"step": step})
        assert trainer.factor_step < step, "as it was read"
        assert not passes(session, now, trainer, typed)


def test_half_way_browsers_are_not_listed_as_signed_in(world: World) -> None:
    browser, _ = set_up(world)
    half_way(world)
    assert browser.page("/account").count("since <time") == 1
    with world.store.read() as session:
        assert session.exec(select(SignIn).where(SignIn.half)).all()


def test_the_code_for_the_app_is_a_picture_that_a_browser_shows(world: World) -> None:
    """A picture by itself: its own namespace, square, and nothing fetched or run."""
    browser = world.signed_in()
    browser.post(f"{PAGE}/begin", password=PASSWORD)
    (source,) = re.findall(r'<img src="(data:image/svg\+xml;[^"]+)"', browser.page(PAGE))
    drawn = unquote(unescape(source).partition(",")[2])
    root = ElementTree.fromstring(drawn)
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    assert root.attrib["width"] == root.attrib["height"]
    assert not re.search(r"href|script|url\(", drawn)
