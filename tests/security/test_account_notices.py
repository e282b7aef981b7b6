"""A trainer hears of every change to their own sign-in, by their phone or their mail."""

import re

import pyotp
import pytest
from sqlmodel import select
from web_world import PASSWORD, World, csrf_of, sign_in

from rungwise.store.tables import Message, Trainer

ANOTHER = "four unconnected words here"
FACTOR = "/account/second-factor"


def notices(world: World) -> list[tuple[str, str, str]]:
    """Each notice's way, receiver and words, oldest first."""
    with world.store.read() as session:
        rows = select(Message).where(Message.kind == "page").order_by(Message.id)
        return [(each.carrier, each.to_phone, each.body) for each in session.exec(rows)]


def with_factor(world: World) -> list[str]:
    """Sets up Tess's second factor; gives the recovery codes."""
    browser = world.signed_in()
    browser.post(f"{FACTOR}/begin", password=PASSWORD)
    with world.store.read() as session:
        secret = session.get_one(Trainer, world.trainers["tess"]).factor_secret or ""
    code = pyotp.TOTP(secret).at(world.clock.now())
    page = browser.post(f"{FACTOR}/confirm", code=code).text
    return re.findall(r"<code>((?:[A-Z2-9]{4}-){3}[A-Z2-9]{4})</code>", page)


def test_a_new_password_is_told_to_ones_phone(world: World) -> None:
    world.signed_in().post("/account/password", current=PASSWORD, password=ANOTHER)
    ((carrier, to, body),) = notices(world)
    assert (carrier, to) == ("handset", "+12025550110")
    assert "your password was changed" in body
    assert "tell your practice lead" in body
    assert ANOTHER not in body


def test_what_was_refused_is_not_told(world: World) -> None:
    world.signed_in().post("/account/password", current="wrong", password=ANOTHER)
    world.signed_in().post("/account/password", current=PASSWORD, password="short")
    assert notices(world) == []


@pytest.mark.parametrize("wish", ["email", "no phone"])
def test_who_wants_mail_or_has_no_phone_is_written_to(world: World, wish: str) -> None:
    with world.store.write() as session:
        tess = session.get_one(Trainer, world.trainers["tess"])
        tess.page_by, tess.phone = ("email", tess.phone) if wish == "email" else ("text", None)
    world.signed_in().post("/account/password", current=PASSWORD, password=ANOTHER)
    assert [(each[0], each[1]) for each in notices(world)] == [("email", "tess@example.org")]


def test_a_second_factor_is_told_when_it_comes_is_used_up_and_goes(world: World) -> None:
    codes = with_factor(world)
    half = world.browser()
    sign_in(half, "tess@example.org", PASSWORD)
    token = csrf_of(half.get("/sign-in/code").text)
    assert half.post("/sign-in/code", data={"csrf": token, "code": codes[0]}).status_code == 303
    csrf = csrf_of(half.get("/account").text)
    half.post(f"{FACTOR}/remove", data={"csrf": csrf, "password": PASSWORD})
    told = [body for _, _, body in notices(world)]
    for body, about in zip(told, ("second factor", "recovery codes", "second factor"), strict=True):
        assert about in body


def test_a_password_by_a_link_is_told_and_a_first_one_is_not(world: World) -> None:
    lead = world.signed_in("lena")
    page = lead.post(f"/practice/trainers/{world.trainers['tess']}/reset").text
    link = re.search(r"/welcome/([\w-]+)", page)
    assert link
    take_up(world, link[1])
    assert [(to, "password" in body) for _, to, body in notices(world)] == [("+12025550110", True)]
    page = lead.post("/practice/sign-ins", name="Nia New", email="nia@example.org").text
    link = re.search(r"/welcome/([\w-]+)", page)
    assert link
    take_up(world, link[1])
    assert len(notices(world)) == 1


def take_up(world: World, token: str) -> None:
    browser = world.browser()
    csrf = csrf_of(browser.get(f"/welcome/{token}").text)
    done = browser.post(f"/welcome/{token}", data={"csrf": csrf, "password": ANOTHER})
    assert done.status_code == 303, done.text
