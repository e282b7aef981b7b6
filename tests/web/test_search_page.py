"""Looking for words from the list of clients, and editing a note, as pages."""

import re

import pytest
from browsing import WIDTHS, Window, served
from playwright.sync_api import Browser
from web_world import World


def keep(world: World, body: str, who: str = "ada") -> None:
    world.signed_in().post(f"/clients/{world.clients[who]}/notes", body=body)


def version_of(page: str) -> str:
    found = re.search(r'name="version" value="(\d+)"', page)
    assert found
    return found[1]


def test_words_are_marked_and_lead_to_the_client(world: World) -> None:
    keep(world, "Left <b>knee</b> operated")
    page = world.signed_in().page("/clients/search?q=knee")
    assert "Left &lt;b&gt;<mark>knee</mark>&lt;/b&gt; operated" in page
    assert f'href="/clients/{world.clients["ada"]}">Ada Sample' in page
    assert "1 find" in page
    assert "knee" not in world.signed_in("omar").page("/clients/search?q=operated")
    assert "Ada Sample" in world.signed_in("lena").page("/clients/search?q=operated")


def test_a_note_is_edited_from_the_clients_page(world: World) -> None:
    keep(world, "Left knee operated")
    browser = world.signed_in()
    client = f"/clients/{world.clients['ada']}"
    assert '<a href="/notes/1">Edit' in browser.page(client)
    version = version_of(browser.page("/notes/1"))
    done = browser.post("/notes/1", body="Right knee operated", version=version)
    assert done.headers["location"] == f"{client}#notes"
    page = browser.page(client)
    assert "Right knee operated" in page
    assert "Left knee operated" not in page
    assert "Left knee operated" in browser.page("/notes/1")
    late = browser.post("/notes/1", body="Mine", version=version)
    assert late.status_code == 409
    assert "Right knee operated" in late.text
    assert ">Mine</textarea>" in late.text


def test_another_trainers_note_is_not_found(world: World) -> None:
    keep(world, "Left knee operated")
    omar = world.signed_in("omar")
    assert omar.get("/notes/1").status_code == 404
    assert omar.post("/notes/1", body="x", version=1).status_code == 404


@pytest.mark.parametrize("width", WIDTHS)
def test_the_pages_are_sound_in_a_browser(world: World, browser: Browser, width: int) -> None:
    keep(world, "Left knee operated")
    with served(world) as address:
        window = Window(browser, address, width).sign_in()
        window.page.goto("/clients")
        window.page.get_by_label("Name, phone, or words").fill("knee")
        window.page.get_by_role("button", name="In texts and notes").click()
        assert "1 find" in window.page.inner_text("main")
        for path in ("/clients/search?q=knee", "/clients/search?q=x", "/notes/1"):
            window.page.goto(path)
            assert window.axe() == []
            assert window.sideways() == 0
        assert window.complaints == []
        window.close()
