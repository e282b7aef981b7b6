"""The page that a text's link opens: what it shows, to whom, how long; and who makes links."""

import re
from datetime import timedelta
from urllib.parse import urlsplit

import pytest
from sqlmodel import select
from web_world import World

from rungwise.coach.record.codec import PlanSettings, ladder_of
from rungwise.coach.record.picture_link import ALPHABET, TOKEN_LETTERS, hashed
from rungwise.store.tables import Audit, Client, PictureLink, Practice
from rungwise.wording.rung_words import Telling, rung_cautions, rung_steps
from rungwise.wording.segments import segments

from web_world import PROFILE  # isort: skip

LADDER = ladder_of(PROFILE)
PERSONAL = ("Ada", "Sample", "Harbour", "+1202", "555", "Tess")


def clients_page(world: World, who: str = "ada", more: str = "") -> str:
    return f"/clients/{world.clients[who]}/picture{more}"


def new_link(world: World, who: str = "ada", days: int = 7) -> str:
    """The path of a link that the trainer has just made."""
    answer = world.signed_in().post(clients_page(world, who), days=days)
    assert answer.status_code == 200, answer.text
    found = re.search(r'<a href="(http[^"]+/p/[^"]+)"', answer.text)
    assert found, answer.text
    return urlsplit(found[1]).path


def opened(world: World, path: str) -> str | None:
    """What somebody who never signed in sees; None when the link shows nothing."""
    answer = world.browser().get(path)
    assert answer.status_code in (200, 404)
    return answer.text if answer.status_code == 200 else None


def on(world: World, who: str, landmark: str) -> str:
    """Put a client on a landmark."""
    key = next(rung.key for rung in LADDER.rungs if rung.landmark == landmark)
    browser = world.signed_in()
    path = f"/clients/{world.clients[who]}/override"
    version = re.search(r'name="version" value="(\d+)"', browser.page(path))
    assert version
    form = {"rung_key": key, "reason": "Held it", "version": version[1], "meant": "true"}
    assert browser.post(path, **form).status_code == 303
    return key


def with_links(world: World, address: str = "https://sms.example.org") -> None:
    with world.store.write() as session:
        session.get_one(Practice, 1).picture_address = address


def test_anybody_with_the_address_sees_how_to_stand_and_what_to_mind(world: World) -> None:
    page = opened(world, new_link(world))
    assert page
    rung = LADDER.rungs[0]
    told = rung_steps(rung, LADDER.measured, Telling(20, first_day=True))
    for line in (*told, *rung_cautions(rung)):
        assert line in page
    assert page.count('role="img"') == 1
    assert 'content="noindex"' in page


def test_nothing_personal_is_on_it_or_in_its_headers(world: World) -> None:
    path = new_link(world)
    for address in (path, f"{path}.png"):
        answer = world.browser().get(address)
        # How long the answer is says nothing of anybody, and may have any three figures in it.
        headers = {k: v for k, v in answer.headers.items() if k != "content-length"}
        told = str(headers) + (answer.text if "html" in answer.headers["content-type"] else "")
        assert not [word for word in PERSONAL if word in told]
        assert "set-cookie" not in answer.headers
        assert answer.headers["cache-control"] == "no-store"
        assert "noindex" in answer.headers["x-robots-tag"]
        assert answer.headers["referrer-policy"] == "no-referrer"


def test_each_side_has_its_picture(world: World) -> None:
    on(world, "ada", "tandem")
    page = opened(world, new_link(world))
    assert page
    assert page.count('role="img"') == 2
    assert "Then swap feet" in page


def test_the_page_speaks_the_clients_language(world: World) -> None:
    with world.store.write() as session:
        session.get_one(Client, world.clients["ada"]).language = "es"
    page = opened(world, new_link(world))
    assert page
    assert '<html lang="es">' in page
    assert "Su tarea de equilibrio" in page
    assert rung_steps(LADDER.rungs[0], LADDER.measured, Telling(20), "es")[0] in page


def test_the_png_is_a_picture_of_the_same(world: World) -> None:
    answer = world.browser().get(new_link(world) + ".png")
    assert answer.headers["content-type"] == "image/png"
    assert answer.content[:8] == b"\x89PNG\r\n\x1a\n"
    assert int.from_bytes(answer.content[16:20], "big") == 1080


def test_it_closes_when_it_expires(world: World) -> None:
    path = new_link(world, days=1)
    world.clock.advance(timedelta(hours=23, minutes=59))
    assert opened(world, path)
    world.clock.advance(timedelta(minutes=2))
    assert opened(world, path) is None
    assert opened(world, f"{path}.png") is None


def test_it_closes_when_it_is_revoked(world: World) -> None:
    path = new_link(world)
    with world.store.read() as session:
        link = session.exec(select(PictureLink)).one()
    answer = world.signed_in().post(clients_page(world, more=f"/{link.id}/revoke"))
    assert answer.status_code == 303
    assert opened(world, path) is None


def test_it_closes_when_the_client_goes_to_another_rung_or_rests(world: World) -> None:
    path = new_link(world)
    on(world, "ada", "feet_apart")
    assert opened(world, path) is None
    path = new_link(world)
    assert opened(world, path)
    world.reply("ada", "I fell")
    assert world.client("ada").state == "resting"
    assert opened(world, path) is None


def test_it_closes_on_stop(world: World) -> None:
    path = new_link(world, "bo")
    world.reply("bo", "STOP")
    assert opened(world, path) is None


@pytest.mark.parametrize("token", ["", "x", "x" * 16, "x" * 500, "%00", "a%2Fb", "é" * 16])
def test_a_guess_shows_the_same_as_a_closed_link(world: World, token: str) -> None:
    answer = world.browser().get(f"/p/{token}")
    assert answer.status_code == 404
    if len(token) > 2 and "/" not in token and "%2F" not in token:
        assert "Please do not practise from it" in answer.text
        assert "No practique con" in answer.text


def test_only_a_hash_of_the_token_is_kept(world: World) -> None:
    token = new_link(world).rpartition("/")[2]
    assert len(token) == TOKEN_LETTERS
    assert set(token) <= set(ALPHABET)
    with world.store.read() as session:
        link = session.exec(select(PictureLink)).one()
        assert link.token_hash == hashed(token)
        lines = session.exec(select(Audit).where(Audit.action == "picture link")).all()
    assert len(lines) == 1
    assert token not in str([line.model_dump() for line in lines])


def test_tokens_differ_and_cannot_be_guessed() -> None:
    assert len(set(ALPHABET)) == len(ALPHABET)
    assert len(ALPHABET) ** TOKEN_LETTERS > 2**90
    assert not set("0O1lI") & set(ALPHABET)


# --- the trainer's side ---------------------------------------------------------------------------


def test_the_address_is_shown_once(world: World) -> None:
    path = new_link(world)
    page = world.signed_in().page(clients_page(world))
    assert path not in page
    assert "Links that still open" in page
    assert "Close it" in page


def test_a_link_lasts_as_long_as_a_choice_allows(world: World) -> None:
    assert world.signed_in().post(clients_page(world), days=365).status_code == 400


def test_another_clients_link_cannot_be_revoked_through_ones_own(world: World) -> None:
    new_link(world, "bo")
    with world.store.read() as session:
        link = session.exec(select(PictureLink)).one()
    answer = world.signed_in().post(clients_page(world, "ada", f"/{link.id}/revoke"))
    assert answer.status_code == 404


def test_texts_carry_no_link_before_the_practice_has_an_address(world: World) -> None:
    page = world.signed_in().page(clients_page(world))
    assert "texts carry no links" in page
    version = world.client("ada").version
    browser = world.signed_in()
    browser.post(clients_page(world, more="/prompts"), carries="true", version=version)
    world.pass_time(hours=2)
    assert "/p/" not in world.sent("ada", "prompt")[0].body


def test_each_prompt_can_carry_a_link_of_its_own(world: World) -> None:
    with_links(world)
    browser = world.signed_in()
    page = browser.page(clients_page(world))
    version = world.client("ada").version
    assert "/p/" not in page.split("In every practice text")[1]
    done = browser.post(clients_page(world, more="/prompts"), carries="true", version=version)
    assert done.status_code == 303
    preview = re.search(r'<p class="sent address">(.*?)</p>', browser.page(clients_page(world)))
    assert preview
    world.pass_time(hours=2)
    world.reply("ada", "20 wobbly")
    world.pass_time(days=1)
    bodies = [message.body for message in world.sent("ada", "prompt")]
    found = [re.search(r"Picture: https://sms\.example\.org(/p/\w+)$", body) for body in bodies]
    assert len(found) == 2
    assert all(found)
    paths = [match[1] for match in found if match]
    assert paths[0] != paths[1]
    assert opened(world, paths[1])
    # The first day of a stance is told more fully; the page shows a following day's text.
    assert len(bodies[0]) > len(bodies[1]) == len(preview[1])
    assert all(segments(body).count <= 2 for body in bodies)
    assert all("Pain" in body or "pain" in body for body in bodies)
    assert "/p/" not in world.sent("bo", "prompt")[0].body


def test_yesterdays_link_is_gone_from_the_database_the_day_after(world: World) -> None:
    with_links(world)
    version = world.client("ada").version
    world.signed_in().post(clients_page(world, more="/prompts"), carries="true", version=version)
    world.pass_time(days=5)
    with world.store.read() as session:
        links = session.exec(select(PictureLink)).all()
    assert len(links) == 2


def test_a_long_address_is_left_out_rather_than_sent_in_three_parts(world: World) -> None:
    with_links(world, "https://" + "a" * 200 + ".example.org")
    browser = world.signed_in()
    version = world.client("ada").version
    browser.post(clients_page(world, more="/prompts"), carries="true", version=version)
    assert "third segment" in browser.page(clients_page(world))
    world.pass_time(hours=2)
    assert "/p/" not in world.sent("ada", "prompt")[0].body


def test_a_change_in_between_is_not_overwritten(world: World) -> None:
    version = world.client("ada").version
    on(world, "ada", "feet_apart")
    answer = world.signed_in().post(
        clients_page(world, more="/prompts"), carries="true", version=version
    )
    assert answer.status_code == 409


def test_plans_stored_before_links_have_none() -> None:
    stored = PlanSettings(picture_link=True).to_json()
    assert PlanSettings.from_json(stored).picture_link
    del stored["picture_link"]
    assert not PlanSettings.from_json(stored).picture_link
