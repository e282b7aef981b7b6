"""Sign-in by an organisation: what OpenID Connect Core 1.0 (3.1.3.7) and RFC 7636 ask for."""

from collections.abc import Iterator
from urllib.parse import parse_qs, urlsplit

import httpx
import pytest
from fastapi.testclient import TestClient
from joserfc.jwk import RSAKey
from openid_provider import CLIENT, SECRET, Provider, providing
from sqlalchemy import update
from sqlmodel import col
from web_world import World

from rungwise.app import create_app
from rungwise.parts import Parts
from rungwise.settings import Settings, WrongSetting
from rungwise.store.tables import Trainer

BEGIN, BACK = "/sign-in/organisation", "/sign-in/organisation/back"


@pytest.fixture
def provider(world: World) -> Iterator[Provider]:
    with providing() as provider:
        provider.now = world.clock.now().timestamp()
        parts = world.parts
        openid = {
            "openid_issuer": provider.issuer,
            "openid_client_id": CLIENT,
            "openid_client_secret": SECRET,
            "openid_name": "Harbour Clinic",
        }
        settings = parts.settings.model_copy(update=openid)
        world.app = create_app(parts=Parts(settings, parts.store, parts.clock, parts.carriers))
        yield provider


def to_provider(browser: TestClient, next: str = "/") -> str:
    """What a browser brings back from there."""
    begun = browser.get(BEGIN, params={"next": next})
    assert begun.status_code == 303, begun.text
    back = httpx.get(begun.headers["location"])
    return urlsplit(back.headers["location"]).query


def signed_in(browser: TestClient) -> bool:
    return browser.get("/").status_code == 200


def test_who_is_known_there_is_signed_in_and_gets_the_page_asked_for(
    world: World, provider: Provider
) -> None:
    browser = world.browser()
    assert "Sign in with Harbour Clinic" in browser.get("/sign-in").text
    done = browser.get(f"{BACK}?{to_provider(browser, '/clients?q=ada')}")
    assert (done.status_code, done.headers["location"]) == (303, "/clients?q=ada")
    assert signed_in(browser)
    (asked,) = provider.asked
    assert asked["code_challenge_method"] == "S256"
    assert asked["redirect_uri"].endswith(BACK)
    assert asked["scope"] == "openid email"
    assert len(asked["nonce"]) >= 16 <= len(asked["state"])


@pytest.mark.parametrize(
    "wrong",
    [
        {"iss": "https://somebody-else.example.org"},
        {"aud": "another-service"},
        {"nonce": "another try's"},
        {"nonce": None},
        {"exp": 1_000_000_000},
        {"exp": None},
        {"iat": 4_000_000_000},
        {"sub": None},
        {"azp": "another-service"},
        {"alg": "none"},
        {"alg": "HS256"},
        {"key": RSAKey.generate_key(2048, {"kid": "first"})},
        {"email_verified": False},
        {"email_verified": "true"},
        {"email": None},
        {"email": ["tess@example.org"]},
        {"email": "stranger@example.org"},
    ],
    ids=lambda wrong: "-".join(f"{name}" for name in wrong),
)
def test_a_token_that_is_not_all_it_must_be_opens_nothing(
    world: World, provider: Provider, wrong: dict
) -> None:
    provider.wrong = wrong
    browser = world.browser()
    done = browser.get(f"{BACK}?{to_provider(browser)}")
    assert done.status_code == 401
    assert "did not vouch for you" in done.text
    assert not signed_in(browser)


def test_an_answer_is_taken_only_from_the_browser_that_asked(
    world: World, provider: Provider
) -> None:
    """Else somebody could be signed in as another by a link: RFC 6749, 10.12."""
    theirs, mine = world.browser(), world.browser()
    query = to_provider(theirs)
    to_provider(mine)
    for browser in (mine, world.browser()):
        assert browser.get(f"{BACK}?{query}").status_code == 401
        assert not signed_in(browser)


def test_an_answer_is_taken_once(world: World, provider: Provider) -> None:
    browser = world.browser()
    query = to_provider(browser)
    kept = dict(browser.cookies)
    assert browser.get(f"{BACK}?{query}").status_code == 303
    again = world.browser()
    for name, value in kept.items():
        again.cookies.set(name, value)
    assert again.get(f"{BACK}?{query}").status_code == 401


def test_a_code_without_the_browsers_verifier_is_worth_nothing(
    world: World, provider: Provider
) -> None:
    """RFC 7636: the provider of these tests checks it as any other must."""
    browser = world.browser()
    query = to_provider(browser)
    code = parse_qs(query)["code"][0]
    provider.codes[code]["code_challenge"] = "of-another-browser"
    assert browser.get(f"{BACK}?{query}").status_code == 401


def test_an_answer_that_names_another_issuer_is_refused(world: World, provider: Provider) -> None:
    """RFC 9207."""
    browser = world.browser()
    query = to_provider(browser)
    assert browser.get(f"{BACK}?{query}&iss=https://other.example.org").status_code == 401


def test_a_second_factor_set_up_here_is_still_asked_for(world: World, provider: Provider) -> None:
    with world.store.write() as session:
        mine = update(Trainer).where(col(Trainer.email) == "tess@example.org")
        session.execute(mine.values(factor_since=world.clock.now(), factor_secret="A" * 32))
    browser = world.browser()
    done = browser.get(f"{BACK}?{to_provider(browser)}")
    assert done.headers["location"] == "/sign-in/code"
    assert not signed_in(browser)


def test_who_may_no_longer_sign_in_is_not_let_in_from_there(
    world: World, provider: Provider
) -> None:
    with world.store.write() as session:
        mine = update(Trainer).where(col(Trainer.email) == "tess@example.org")
        session.execute(mine.values(active=False))
    browser = world.browser()
    assert browser.get(f"{BACK}?{to_provider(browser)}").status_code == 401


def test_a_provider_that_calls_itself_otherwise_is_not_asked(
    world: World, provider: Provider
) -> None:
    provider.wrong = {"calls_itself": "https://somebody-else.example.org"}
    answer = world.browser().get(BEGIN)
    assert answer.status_code == 502
    assert "does not answer" in answer.text


def test_new_keys_of_the_provider_are_asked_for(world: World, provider: Provider) -> None:
    first = world.browser()
    assert first.get(f"{BACK}?{to_provider(first)}").status_code == 303
    provider.key = RSAKey.generate_key(2048, {"kid": "second"})
    second = world.browser()
    assert second.get(f"{BACK}?{to_provider(second)}").status_code == 303


def test_without_the_setting_there_is_no_such_page(world: World) -> None:
    browser = world.browser()
    assert browser.get(BEGIN).status_code == 404
    assert "/sign-in/organisation" not in browser.get("/sign-in").text


@pytest.mark.parametrize(
    "given",
    [
        {"RUNGWISE_OPENID_ISSUER": "https://sign-in.example.org"},
        {
            "RUNGWISE_OPENID_ISSUER": "http://sign-in.example.org",
            "RUNGWISE_OPENID_CLIENT_ID": "a",
            "RUNGWISE_OPENID_CLIENT_SECRET": "b",
        },
    ],
)
def test_settings_that_are_not_whole_or_in_clear_stop_the_start(given: dict) -> None:
    with pytest.raises(WrongSetting, match="OPENID"):
        Settings.from_environment(given)
