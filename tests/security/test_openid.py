"""Sign-in by an organisation: what OpenID Connect Core 1.0 (3.1.3.7) and RFC 7636 ask for."""

import re
from collections.abc import Iterator
from html import unescape
from urllib.parse import parse_qs, urlsplit

import httpx
import pytest
from fastapi.testclient import TestClient
from joserfc.jwk import RSAKey
from openid_provider import CLIENT, SECRET, Provider, providing
from sqlalchemy import update
from sqlmodel import col, select
from web_world import PASSWORD, SignedIn, World

from rungwise.app import create_app
from rungwise.coach.accounts.invitations import choose_password, reset
from rungwise.parts import Parts
from rungwise.settings import Settings, WrongSetting
from rungwise.store.tables import Audit, Message, OrganisationSignIn, Trainer

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


def linking(mine: SignedIn) -> str:
    """What the browser of `mine` brings back when it went there to link."""
    page = mine.post("/account/organisation/link", password=PASSWORD)
    onward = re.search(r'<a href="([^"]+)">Go on', page.text)
    assert onward, page.text[:2000]
    back = httpx.get(unescape(onward[1]))
    return urlsplit(back.headers["location"]).query


def link(world: World, provider: Provider, who: str = "tess") -> SignedIn:
    """A signed-in browser of `who`, whose account is linked to whoever is there now."""
    mine = world.signed_in(who)
    done = mine.browser.get(f"{BACK}?{linking(mine)}")
    assert (done.status_code, done.headers["location"]) == (303, "/account"), done.text
    return mine


@pytest.fixture
def linked(world: World, provider: Provider) -> Provider:
    """Tess has linked her account, and the provider's notes begin anew."""
    link(world, provider)
    provider.asked.clear()
    return provider


def test_who_is_known_there_is_signed_in_and_gets_the_page_asked_for(
    world: World, linked: Provider
) -> None:
    browser = world.browser()
    assert "Sign in with Harbour Clinic" in browser.get("/sign-in").text
    done = browser.get(f"{BACK}?{to_provider(browser, '/clients?q=ada')}")
    assert (done.status_code, done.headers["location"]) == (303, "/clients?q=ada")
    assert signed_in(browser)
    (asked,) = linked.asked
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
        {"sub": 7},
        {"sub": ""},
        {"sub": "x" * 256},
    ],
    ids=lambda wrong: "-".join(f"{name}" for name in wrong),
)
def test_a_token_that_is_not_all_it_must_be_opens_nothing(
    world: World, linked: Provider, wrong: dict
) -> None:
    linked.wrong = wrong
    browser = world.browser()
    done = browser.get(f"{BACK}?{to_provider(browser)}")
    assert done.status_code == 401
    assert "did not vouch for you" in done.text
    assert not signed_in(browser)


def test_an_answer_is_taken_only_from_the_browser_that_asked(
    world: World, linked: Provider
) -> None:
    """Else somebody could be signed in as another by a link: RFC 6749, 10.12."""
    theirs, mine = world.browser(), world.browser()
    query = to_provider(theirs)
    to_provider(mine)
    for browser in (mine, world.browser()):
        assert browser.get(f"{BACK}?{query}").status_code == 401
        assert not signed_in(browser)


def test_an_answer_is_taken_once(world: World, linked: Provider) -> None:
    browser = world.browser()
    query = to_provider(browser)
    kept = dict(browser.cookies)
    assert browser.get(f"{BACK}?{query}").status_code == 303
    again = world.browser()
    for name, value in kept.items():
        again.cookies.set(name, value)
    assert again.get(f"{BACK}?{query}").status_code == 401


def test_a_code_without_the_browsers_verifier_is_worth_nothing(
    world: World, linked: Provider
) -> None:
    """RFC 7636: the provider of these tests checks it as any other must."""
    browser = world.browser()
    query = to_provider(browser)
    code = parse_qs(query)["code"][0]
    linked.codes[code]["code_challenge"] = "of-another-browser"
    assert browser.get(f"{BACK}?{query}").status_code == 401


def test_an_answer_that_names_another_issuer_is_refused(world: World, linked: Provider) -> None:
    """RFC 9207."""
    browser = world.browser()
    query = to_provider(browser)
    assert browser.get(f"{BACK}?{query}&iss=https://other.example.org").status_code == 401


def test_a_second_factor_set_up_here_is_still_asked_for(world: World, linked: Provider) -> None:
    with world.store.write() as session:
        mine = update(Trainer).where(col(Trainer.email) == "tess@example.org")
        session.execute(mine.values(factor_since=world.clock.now(), factor_secret="A" * 32))
    browser = world.browser()
    done = browser.get(f"{BACK}?{to_provider(browser)}")
    assert done.headers["location"] == "/sign-in/code"
    assert not signed_in(browser)


def test_who_may_no_longer_sign_in_is_not_let_in_from_there(world: World, linked: Provider) -> None:
    with world.store.write() as session:
        mine = update(Trainer).where(col(Trainer.email) == "tess@example.org")
        session.execute(mine.values(active=False))
    browser = world.browser()
    assert browser.get(f"{BACK}?{to_provider(browser)}").status_code == 401


def refused(world: World, provider: Provider) -> bool:
    browser = world.browser()
    done = browser.get(f"{BACK}?{to_provider(browser)}")
    return (
        done.status_code == 401 and "opens no account here" in done.text and not signed_in(browser)
    )


def test_an_address_alone_opens_nothing_however_verified(world: World, provider: Provider) -> None:
    assert refused(world, provider)


def test_an_address_that_passed_to_somebody_else_opens_nothing(
    world: World, linked: Provider
) -> None:
    """OpenID Connect Core, 5.7: only issuer and subject are a person's for ever."""
    linked.person = {"sub": "person-2", "email": "tess@example.org", "email_verified": True}
    assert refused(world, linked)


@pytest.mark.parametrize(
    "person",
    [
        {"email": "tess.new-name@example.org", "email_verified": True},
        {"email": "omar@example.org", "email_verified": True},
        {"email": "tess@example.org", "email_verified": False},
        {},
    ],
)
def test_once_linked_the_address_says_nothing_more(
    world: World, linked: Provider, person: dict
) -> None:
    linked.person = person
    browser = world.browser()
    assert browser.get(f"{BACK}?{to_provider(browser)}").status_code == 303
    assert "tess@example.org" in browser.get("/account").text


def test_subjects_are_told_apart_by_the_case_of_letters(world: World, linked: Provider) -> None:
    """Core, 2: `sub` is case-sensitive."""
    linked.person |= {"sub": "PERSON-1"}
    assert refused(world, linked)


def test_another_issuer_may_use_the_same_subject_for_somebody_else(
    world: World, linked: Provider
) -> None:
    with world.store.write() as session:
        session.execute(update(OrganisationSignIn).values(issuer="https://other.example.org"))
    assert refused(world, linked)


@pytest.mark.parametrize(
    "person",
    [
        {"email": "tess@example.org", "email_verified": False},
        {"email": "tess@example.org", "email_verified": "true"},
        {"email": "tess@example.org"},
        {"email": ["tess@example.org"], "email_verified": True},
        {"email": "stranger@example.org", "email_verified": True},
        {"email": "omar@example.org", "email_verified": True},
        {},
    ],
)
def test_only_ones_own_verified_address_can_be_linked(
    world: World, provider: Provider, person: dict
) -> None:
    provider.person = person
    mine = world.signed_in()
    done = mine.browser.get(f"{BACK}?{linking(mine)}")
    assert done.status_code == 400
    assert "nothing was linked" in done.text
    provider.person = {"email": "tess@example.org", "email_verified": True}
    assert refused(world, provider)


def test_linking_asks_for_the_password_and_leaves_a_trace(world: World, provider: Provider) -> None:
    mine = world.signed_in()
    assert mine.post("/account/organisation/link", password="wrong").status_code == 400
    assert provider.asked == []
    mine.browser.get(f"{BACK}?{linking(mine)}")
    assert "Take the link off" in mine.page("/account")
    mine.post("/account/organisation/unlink", password=PASSWORD)
    assert refused(world, provider)
    with world.store.read() as session:
        lines = session.exec(select(Audit).order_by(col(Audit.number)))
        acts = [(line.action, line.trainer_id) for line in lines if "organisation" in line.action]
        told = [one.body for one in session.exec(select(Message).where(Message.kind == "page"))]
    tess = world.trainers["tess"]
    assert acts == [
        ("organisation sign-in linked", tess),
        ("organisation sign-in unlinked", tess),
    ]
    assert len([body for body in told if "your organisation's sign-in" in body]) == 2


def test_a_link_is_made_only_by_the_browser_that_gave_the_password(
    world: World, provider: Provider
) -> None:
    """Else somebody's own sign-in there could be slipped to another's account here."""
    mine = world.signed_in()
    query = linking(mine)
    kept = {name: value for name, value in mine.browser.cookies.items() if "organisation" in name}
    for other in (world.browser(), world.signed_in("omar").browser):
        for name, value in kept.items():
            other.cookies.set(name, value)
        done = other.get(f"{BACK}?{query}")
        assert (done.status_code, done.headers["location"][:8]) == (303, "/sign-in")
    assert refused(world, provider)


def test_one_sign_in_there_opens_one_account(world: World, linked: Provider) -> None:
    linked.person = {"email": "omar@example.org", "email_verified": True}
    omar = world.signed_in("omar")
    done = omar.browser.get(f"{BACK}?{linking(omar)}")
    assert "already opens an account" in done.text
    linked.person = {"sub": "person-2", "email": "tess@example.org", "email_verified": True}
    tess = world.signed_in()
    # The page offers it only where nothing is linked; another tab may still be open.
    done = tess.browser.get(f"{BACK}?{linking(tess)}")
    assert "Take the old link off first" in done.text


def test_a_new_password_that_drops_the_second_factor_drops_the_link(
    world: World, linked: Provider
) -> None:
    with world.store.write() as session:
        tess = session.get_one(Trainer, world.trainers["tess"])
        lead = session.get_one(Trainer, world.trainers["lena"])
        token = reset(session, world.clock.now(), lead, tess, drops_factor=True)
        choose_password(session, world.clock.now(), token, "four unconnected words here")
    assert refused(world, linked)


def test_a_provider_that_calls_itself_otherwise_is_not_asked(
    world: World, provider: Provider
) -> None:
    provider.wrong = {"calls_itself": "https://somebody-else.example.org"}
    answer = world.browser().get(BEGIN)
    assert answer.status_code == 502
    assert "does not answer" in answer.text


def test_new_keys_of_the_provider_are_asked_for(world: World, linked: Provider) -> None:
    first = world.browser()
    assert first.get(f"{BACK}?{to_provider(first)}").status_code == 303
    linked.key = RSAKey.generate_key(2048, {"kid": "second"})
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
