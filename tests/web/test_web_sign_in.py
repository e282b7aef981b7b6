"""Signing in: who gets in, how long, how often one may be wrong, and what a cookie gives away."""

from datetime import timedelta
from hashlib import sha256

import pytest
from fastapi.testclient import TestClient
from sqlmodel import select
from web_world import PASSWORD, World, csrf_of, sign_in

from rungwise.store.tables import SignIn, SignInFailure, Trainer
from rungwise.web.http.auth import local_path
from rungwise.web.http.sessions import browser_name


def sign_ins(world: World) -> list[SignIn]:
    with world.store.read() as session:
        return list(session.exec(select(SignIn)).all())


def test_the_right_password_opens_the_page_that_was_asked_for(world: World) -> None:
    browser = world.browser()
    asked = browser.get("/clients?q=ada")
    assert asked.status_code == 303
    assert asked.headers["location"] == "/sign-in?next=/clients%3Fq%3Dada"
    form = browser.get(asked.headers["location"]).text
    assert 'value="/clients?q=ada"' in form
    done = sign_in(browser, "tess@example.org", PASSWORD, next="/clients?q=ada")
    assert (done.status_code, done.headers["location"]) == (303, "/clients?q=ada")
    assert "Ada Sample" in browser.get("/clients?q=ada").text


def test_the_cookie_is_kept_from_scripts_and_only_its_hash_is_stored(world: World) -> None:
    browser = world.browser()
    done = sign_in(browser, "Tess@Example.org ", PASSWORD)
    cookie = next(c for c in done.headers.get_list("set-cookie") if c.startswith("rungwise="))
    assert "HttpOnly" in cookie
    assert "SameSite=lax" in cookie
    assert "Secure" not in cookie
    token = browser.cookies["rungwise"]
    (kept,) = sign_ins(world)
    assert len(token) >= 40
    assert kept.token_hash == sha256(token.encode()).hexdigest()
    assert token not in kept.model_dump_json()


def test_behind_https_the_cookie_is_secure_and_for_this_host_alone(world: World) -> None:
    secure = world.parts.settings.model_copy(update={"secure_cookies": True})
    object.__setattr__(world.parts, "settings", secure)
    browser = TestClient(world.app, base_url="https://testserver", follow_redirects=False)
    done = sign_in(browser, "tess@example.org", PASSWORD)
    cookie = next(c for c in done.headers.get_list("set-cookie") if "rungwise=" in c)
    assert cookie.startswith("__Host-rungwise=")
    assert "Secure" in cookie
    assert "Path=/" in cookie
    assert "Domain" not in cookie


@pytest.mark.parametrize(
    ("email", "password"),
    [("tess@example.org", "wrong"), ("nobody@example.org", PASSWORD), ("", "")],
)
def test_a_wrong_pair_says_the_same_whatever_is_wrong(
    world: World, email: str, password: str
) -> None:
    browser = world.browser()
    refused = sign_in(browser, email, password)
    assert refused.status_code == 401
    assert "belong together" in refused.text
    assert "rungwise" not in browser.cookies
    assert browser.get("/").status_code == 303


def test_guessing_is_slowed_down_by_account_and_free_again_later(world: World) -> None:
    browser = world.browser()
    for _ in range(5):
        assert sign_in(browser, "tess@example.org", "wrong").status_code == 401
    assert sign_in(browser, "tess@example.org", PASSWORD).status_code == 429
    assert sign_in(browser, "omar@example.org", PASSWORD).status_code == 303
    world.clock.advance(timedelta(minutes=15, seconds=1))
    assert sign_in(world.browser(), "tess@example.org", PASSWORD).status_code == 303


def test_guessing_is_slowed_down_by_address_over_many_accounts(world: World) -> None:
    browser = world.browser()
    sign_in(browser, "a@example.org", "wrong")
    with world.store.write() as session:
        address = next(
            row.subject
            for row in session.exec(select(SignInFailure)).all()
            if row.subject.startswith("address:")
        )
        session.add_all(SignInFailure(subject=address, at=world.clock.now()) for _ in range(23))
    answers = [sign_in(browser, f"{who}@example.org", "wrong").status_code for who in "bc"]
    assert answers == [401, 429]


def test_failures_keep_no_address_that_was_typed(world: World) -> None:
    sign_in(world.browser(), "my secret password", "wrong")
    with world.store.read() as session:
        kept = [row.subject for row in session.exec(select(SignInFailure)).all()]
    assert len(kept) == 2
    assert not any("secret" in subject for subject in kept)


def test_a_sign_in_ends_by_itself(world: World) -> None:
    browser = world.signed_in()
    world.clock.advance(timedelta(hours=11, minutes=59))
    browser.page("/")
    world.clock.advance(timedelta(minutes=2))
    assert browser.get("/").status_code == 303


def test_signing_out_ends_this_browser_only(world: World) -> None:
    here, there = world.signed_in(), world.signed_in()
    token = here.browser.cookies["rungwise"]
    assert here.post("/sign-out").headers["location"] == "/sign-in"
    here.browser.cookies.set("rungwise", token)
    assert here.get("/").status_code == 303
    there.page("/")


def test_signing_out_everywhere_ends_every_browser_of_this_trainer(world: World) -> None:
    here, there, other = world.signed_in(), world.signed_in(), world.signed_in("omar")
    here.post("/sign-out-everywhere")
    assert there.get("/").status_code == 303
    other.page("/")


def test_ones_own_sign_ins_are_listed_and_ended_one_by_one(world: World) -> None:
    here, there = world.signed_in(), world.signed_in()
    _, theirs = sorted(row.id for row in sign_ins(world))
    assert "this browser" in here.page("/account")
    assert f"/account/sign-ins/{theirs}/end" in here.page("/account")
    assert here.post(f"/account/sign-ins/{theirs}/end").status_code == 303
    assert there.get("/").status_code == 303
    here.page("/")


def test_another_trainers_sign_in_cannot_be_ended(world: World) -> None:
    other = world.signed_in("omar")
    (theirs,) = sign_ins(world)
    assert world.signed_in().post(f"/account/sign-ins/{theirs.id}/end").status_code == 404
    other.page("/")


def test_a_trainer_who_left_is_out_at_once(world: World) -> None:
    browser = world.signed_in()
    with world.store.write() as session:
        session.get_one(Trainer, world.trainers["tess"]).active = False
    assert browser.get("/").status_code == 303
    assert sign_in(world.browser(), "tess@example.org", PASSWORD).status_code == 401


def test_a_form_of_another_site_cannot_sign_anyone_in(world: World) -> None:
    browser = world.browser()
    form = {"email": "tess@example.org", "password": PASSWORD}
    assert browser.post("/sign-in", data=form).status_code == 403
    token = csrf_of(browser.get("/sign-in").text)
    assert browser.post("/sign-in", data={**form, "csrf": token + "x"}).status_code == 403
    assert browser.post("/sign-in", data={**form, "csrf": token}).status_code == 303


@pytest.mark.parametrize(
    "elsewhere",
    ["https://example.net/", "//example.net", "/\\example.net", "javascript:alert(1)", "", "/\nx"],
)
def test_no_sign_in_leads_to_another_site(world: World, elsewhere: str) -> None:
    done = sign_in(world.browser(), "tess@example.org", PASSWORD, next=elsewhere)
    assert done.headers["location"] == "/"
    assert local_path(elsewhere) == "/"


def test_a_browser_is_named_in_a_few_words() -> None:
    phone = "Mozilla/5.0 (iPhone; CPU iPhone OS 18_0 like Mac OS X) Version/18.0 Safari/604.1"
    assert browser_name(phone) == "Safari on iPhone"
    assert browser_name("curl/8") == "another browser on another machine"
