"""Invitations, links for a new password, and passwords: once, for a time, and not too easy."""

import re
from contextlib import suppress
from datetime import timedelta

import pytest
from fastapi.testclient import TestClient
from hypothesis import given
from hypothesis import strategies as st
from sqlmodel import select
from test_second_factor import set_up
from web_world import PASSWORD, World, csrf_of, sign_in

from rungwise.cli import main
from rungwise.coach.accounts.passwords import (
    Hasher,
    PasswordRefused,
    check_password,
    hasher,
    verified,
)
from rungwise.store import Store
from rungwise.store.moving.migrate import migrate
from rungwise.store.tables import AccountLink, Audit, Practice, SignIn, Trainer

NEW = "gutter lantern ninety apricot"


def link_on(page: str) -> str:
    return re.findall(r'value="http://127\.0\.0\.1:8780(/welcome/[\w-]{43})"', page)[0]


def invited(world: World, **form: str) -> str:
    given = {"name": "Nia Newcomer", "email": "Nia@Example.org", "role": "trainer", **form}
    done = world.signed_in("lena").post("/practice/sign-ins", **given)
    assert done.status_code == 200, done.text
    return link_on(done.text)


def choose(browser: TestClient, link: str, password: str = NEW):
    page = browser.get(link)
    if page.status_code != 200:
        return page
    return browser.post(link, data={"csrf": csrf_of(page.text), "password": password})


def test_an_invited_trainer_chooses_a_password_and_signs_in(world: World) -> None:
    link = invited(world)
    browser = world.browser()
    page = browser.get(link)
    assert "Nia Newcomer" in page.text
    assert page.headers["referrer-policy"] == "no-referrer"
    assert page.headers["cache-control"] == "no-store"
    assert choose(browser, link).headers["location"] == "/sign-in"
    assert sign_in(browser, "nia@example.org", NEW).headers["location"] == "/"
    assert "Nia Newcomer" in browser.get("/account").text
    assert browser.get("/clients/1").status_code == 404
    assert browser.get("/practice/sign-ins").status_code == 400
    with world.store.read() as session:
        nia = session.exec(select(Trainer).where(Trainer.email == "nia@example.org")).one()
        assert nia.role == "trainer"
        assert nia.password_hash.startswith("$argon2id$")
        actions = [line.action for line in session.exec(select(Audit).order_by(Audit.id))]
        assert actions[-2:] == ["invited", "invitation taken up"]


def test_a_link_works_once_and_only_its_hash_is_kept(world: World) -> None:
    link = invited(world)
    assert choose(world.browser(), link).status_code == 303
    again = choose(world.browser(), link, "another gutter lantern")
    assert again.status_code == 404
    assert "Ask your practice lead" in again.text
    with world.store.read() as session:
        assert session.exec(select(AccountLink)).one().token_hash not in link


def test_a_link_ends_after_its_time(world: World) -> None:
    link = invited(world)
    world.clock.advance(timedelta(days=6, hours=23))
    assert world.browser().get(link).status_code == 200
    world.clock.advance(timedelta(hours=2))
    assert world.browser().get(link).status_code == 404


def test_a_link_can_be_taken_back_and_a_later_one_ends_the_earlier(world: World) -> None:
    first = invited(world)
    second = invited(world)
    assert world.browser().get(first).status_code == 404
    lead = world.signed_in("lena")
    with world.store.read() as session:
        living = [row.id for row in session.exec(select(AccountLink)) if row.revoked_at is None]
    assert lead.post(f"/practice/links/{living[0]}/end").status_code == 303
    assert world.browser().get(second).status_code == 404
    assert lead.post(f"/practice/links/{living[0]}/end").status_code == 404


@pytest.mark.parametrize("token", ["x", "x" * 43, "x" * 3000, "%00", "é", "..%2f..%2fetc"])
def test_a_made_up_link_opens_nothing(world: World, token: str) -> None:
    invited(world)
    assert world.browser().get(f"/welcome/{token}").status_code == 404


def test_a_form_of_another_site_cannot_choose(world: World) -> None:
    link = invited(world)
    browser = world.browser()
    browser.get(link)
    assert browser.post(link, data={"password": NEW}).status_code == 403
    assert browser.post(link, data={"password": NEW, "csrf": "x"}).status_code == 403
    assert choose(browser, link).status_code == 303


def test_only_the_lead_invites_and_resets(world: World) -> None:
    tess = world.signed_in("tess")
    omar = world.trainers["omar"]
    assert tess.get("/practice/sign-ins").status_code == 400
    refused = tess.post("/practice/sign-ins", name="A", email="a@example.org")
    assert refused.status_code == 400
    assert tess.post(f"/practice/trainers/{omar}/reset").status_code == 404
    own = tess.post(f"/practice/trainers/{world.trainers['tess']}/reset")
    assert own.status_code == 400
    with world.store.read() as session:
        assert session.exec(select(AccountLink)).all() == []


def test_another_practices_lead_reaches_nobody_here(world: World) -> None:
    link = invited(world)
    with world.store.write() as session:
        other = Practice(name="Elsewhere", phone="+12025550777", created_at=world.clock.now())
        session.add(other)
        session.flush()
        session.get_one(Trainer, world.trainers["lena"]).practice_id = other.id
        (link_id,) = session.exec(select(AccountLink.id)).all()
    lead = world.signed_in("lena")
    assert "Nia" not in lead.page("/practice/sign-ins")
    assert lead.post(f"/practice/links/{link_id}/end").status_code == 404
    assert lead.post(f"/practice/trainers/{world.trainers['tess']}/reset").status_code == 404
    assert world.browser().get(link).status_code == 200


@pytest.mark.parametrize(
    "wrong",
    [
        {"email": "tess@example.org"},
        {"email": "TESS@example.org "},
        {"email": "no address"},
        {"email": "a@b"},
        {"email": "a b@example.org"},
        {"email": "<x>@example.org"},
        {"email": ""},
        {"name": ""},
        {"name": "x" * 81},
        {"role": "owner"},
    ],
)
def test_what_cannot_be_is_refused_with_a_sentence(world: World, wrong: dict[str, str]) -> None:
    form = {"name": "Nia", "email": "nia@example.org", "role": "trainer", **wrong}
    done = world.signed_in("lena").post("/practice/sign-ins", **form)
    assert done.status_code == 400
    assert 'role="alert"' in done.text
    assert "must be" in done.text


def test_a_reset_signs_the_trainer_out_everywhere_and_old_words_open_nothing(world: World) -> None:
    signed = world.signed_in("tess")
    done = world.signed_in("lena").post(f"/practice/trainers/{world.trainers['tess']}/reset")
    link = link_on(done.text)
    signed.page("/")  # until it is taken up, all is as it was
    assert choose(world.browser(), link).status_code == 303
    assert signed.get("/").status_code == 303
    assert sign_in(world.browser(), "tess@example.org", PASSWORD).status_code == 401
    assert sign_in(world.browser(), "tess@example.org", NEW).status_code == 303
    assert choose(world.browser(), link).status_code == 404


def test_a_reset_keeps_the_second_factor_unless_the_lead_takes_it_off(world: World) -> None:
    set_up(world)
    lead, tess = world.signed_in("lena"), world.trainers["tess"]
    choose(world.browser(), link_on(lead.post(f"/practice/trainers/{tess}/reset").text))
    assert sign_in(world.browser(), "tess@example.org", NEW).headers["location"] == "/sign-in/code"
    done = lead.post(f"/practice/trainers/{tess}/reset", drops_factor="true")
    choose(world.browser(), link_on(done.text), "pebble umbrella thirteen kettle")
    again = sign_in(world.browser(), "tess@example.org", "pebble umbrella thirteen kettle")
    assert again.headers["location"] == "/"


def test_a_closed_account_has_no_way_in_by_a_link(world: World) -> None:
    done = world.signed_in("lena").post(f"/practice/trainers/{world.trainers['omar']}/reset")
    with world.store.write() as session:
        session.get_one(Trainer, world.trainers["omar"]).active = False
    assert world.browser().get(link_on(done.text)).status_code == 404


# --- one's own password ---------------------------------------------------------------------------


def test_changing_ones_password_ends_every_other_browser(world: World) -> None:
    here, there = world.signed_in(), world.signed_in()
    before = here.browser.cookies["rungwise"]
    done = here.post("/account/password", current=PASSWORD, password=NEW)
    assert done.status_code == 303
    assert here.browser.cookies["rungwise"] != before
    here.page("/")
    assert there.get("/").status_code == 303
    assert sign_in(world.browser(), "tess@example.org", PASSWORD).status_code == 401
    assert sign_in(world.browser(), "tess@example.org", NEW).status_code == 303


def test_changing_it_needs_the_present_one_and_guessing_is_slowed_down(world: World) -> None:
    browser = world.signed_in()
    for _ in range(5):
        told = browser.post("/account/password", current="not it at all", password=NEW)
        assert told.status_code == 400
        assert "not your password" in told.text
    told = browser.post("/account/password", current=PASSWORD, password=NEW)
    assert "Too many tries" in told.text
    assert sign_in(world.browser(), "tess@example.org", PASSWORD).status_code == 303


@pytest.mark.parametrize(
    "easy",
    [
        "",
        "short",
        "elevenchars",
        "password1234",
        "passwordpassword",
        "qwertyuiop12",
        "aaaaaaaaaaaa",
        "123456789012",
        "tess@example.org",
        "tessexample1",
        "Tess.Example.2026!",
        "harbourbalance",
        "iloveyou1234",
        "x" * 129,
    ],
)
def test_an_easy_password_is_refused_with_what_to_do(world: World, easy: str) -> None:
    browser = world.signed_in()
    told = browser.post("/account/password", current=PASSWORD, password=easy)
    assert told.status_code == 400
    assert re.search(r'role="alert">[^<]*(words|characters)', told.text)
    assert easy == "" or f">{easy}<" not in told.text
    assert sign_in(world.browser(), "tess@example.org", PASSWORD).status_code == 303


@pytest.mark.parametrize(
    "good", [NEW, PASSWORD, "ääkköset ja öljylamppu", "🦊 seven kettles 🐢 drift"]
)
def test_long_and_unusual_ones_are_taken_whatever_their_letters(good: str) -> None:
    check_password(good, ("Tess Example", "tess@example.org"))


@given(st.text(max_size=200))
def test_any_password_is_taken_or_refused_with_a_sentence(password: str) -> None:
    with suppress(PasswordRefused):
        check_password(password, ("Tess Example", "tess@example.org"))
        assert 12 <= len(password) <= 128


def test_hashes_are_argon2id_and_older_ones_are_renewed(world: World) -> None:
    kind = Hasher().hash("x")
    assert kind.startswith("$argon2id$v=19$")
    memory, passes = re.findall(r"m=(\d+),t=(\d+)", kind)[0]
    assert int(memory) >= 19 * 1024
    assert int(passes) >= 2
    # By argon2-cffi 25.1, whose hashes older installations hold.
    theirs = "$argon2id$v=19$m=65536,t=3,p=4$sk9+Sdz2LKj8Hx/qc"
    theirs += "HAzWw$zswlDPhP8UyRaol+DUxJy1chTQ1FWuC51wbg0imGpu4"
    assert verified(theirs, "steady ö")
    assert not Hasher().is_outdated(theirs)
    assert not verified(kind, "y")
    assert not verified("no hash", "x")
    weak = Hasher(passes=1, memory_kib=1024, lanes=1)
    with world.store.write() as session:
        session.get_one(Trainer, world.trainers["tess"]).password_hash = weak.hash(PASSWORD)
    assert sign_in(world.browser(), "tess@example.org", PASSWORD).status_code == 303
    with world.store.read() as session:
        renewed = session.get_one(Trainer, world.trainers["tess"]).password_hash
    assert not hasher().is_outdated(renewed)


# --- the command ----------------------------------------------------------------------------------


def test_a_new_installation_gets_its_practice_and_its_lead_by_command(
    tmp_path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    url = f"sqlite:///{tmp_path / 'new.sqlite3'}"
    store = Store(url)
    migrate(store)
    monkeypatch.setenv("RUNGWISE_DATABASE_URL", url)
    monkeypatch.setenv("RUNGWISE_HANDSET_TOKEN", "x" * 20)
    facts = {
        "--name": "Harbour Balance",
        "--phone": "202 555 0100",
        "--country": "us",
        "--zone": "America/New_York",
        "--lead": "Lena Lead",
        "--email": "L@example.org",
    }
    add = ["practice", "add", *(word for fact in facts.items() for word in fact)]
    assert main(add) == 0
    told = capsys.readouterr().out
    assert "texts from +12025550100; safety texts name 911" in told
    assert re.search(r"http://127\.0\.0\.1:8780/welcome/[\w-]{43}\n", told)
    for wrong, what in ((["--zone", "Mars/Olympus"], "zone"), (["--country", "xx"], "country")):
        assert main([*add, *wrong]) == 2
        assert what in capsys.readouterr().err
    assert main(add) == 2
    assert "no other practice" in capsys.readouterr().err
    assert main(["practice", "reset", "--email", "l@example.org"]) == 2
    with store.write() as session:
        practice = session.exec(select(Practice)).one()
        session.add(
            Trainer(
                practice_id=practice.id,
                name="Lena Lead",
                email="l@example.org",
                password_hash="-",
                role="lead",
                created_at=practice.created_at,
            )
        )
    capsys.readouterr()
    assert main(["practice", "reset", "--email", "L@example.org", "--drop-factor"]) == 0
    assert "/welcome/" in capsys.readouterr().out
    with store.read() as session:
        link = session.exec(select(AccountLink).where(AccountLink.kind == "reset")).one()
        assert link.drops_factor
        assert session.exec(select(SignIn)).all() == []
    store.close()
