"""The week with its visits, the sheet for a day's round, and "visited" in one press."""

import io
from datetime import date, timedelta

import pytest
from browsing import THEMES, WIDTHS, Window, served
from playwright.sync_api import Browser
from pypdf import PdfReader
from sqlmodel import select
from web_world import World

from rungwise.store.tables import HomeVisit

DAY = "2026-03-04"


def plan(world: World, who: str = "ada", by: str = "tess", **form: str):
    given = {"day": DAY, "begins": "09:30", "address": "4 Mill Lane", "note": "key at no. 6"}
    browser = world.signed_in(by)
    return browser.post(f"/clients/{world.clients[who]}/visits", **{**given, **form})


def test_a_planned_visit_stands_in_its_week_and_on_its_days_sheet(world: World) -> None:
    assert plan(world).headers["location"] == f"/week?start={DAY}"
    browser = world.signed_in()
    assert "09:30 <a" in browser.page(f"/week?start={DAY}")
    sheet = browser.page(f"/visits/round?day={DAY}")
    for words in ("Ada Sample", "4 Mill Lane", "key at no. 6", "Side by side", "Hold 20 s."):
        assert words in sheet
    assert "No visit is planned" in browser.page("/visits/round?day=2026-03-05")
    assert 'value="4 Mill Lane"' in browser.page(f"/clients/{world.clients['ada']}/visits")


def test_visited_in_one_press_from_the_sheet(world: World) -> None:
    plan(world, day="2026-03-02")
    browser = world.signed_in()
    back = "/visits/round?day=2026-03-02"
    done = browser.post(f"/clients/{world.clients['ada']}/visited", back=back)
    assert done.headers["location"] == back
    assert "Visited." in browser.page(back)
    assert "visited" in browser.page("/week")


@pytest.mark.parametrize("back", ["https://elsewhere.example", "//elsewhere.example", "", "/\\x"])
def test_a_press_leads_back_to_our_own_pages_only(world: World, back: str) -> None:
    done = world.signed_in().post(f"/clients/{world.clients['ada']}/visited", back=back)
    assert done.headers["location"] == "/visits"


def test_a_visit_is_called_off(world: World) -> None:
    plan(world)
    browser = world.signed_in()
    browser.post("/visits/1/off", back=f"/clients/{world.clients['ada']}/visits")
    assert "Ada Sample" not in browser.page(f"/visits/round?day={DAY}")
    assert browser.post("/visits/1/off").status_code == 404


def test_what_is_wrong_is_told_and_what_was_typed_stays(world: World) -> None:
    answer = plan(world, day="2020-01-01")
    assert answer.status_code == 400
    assert "today or a day within the next year" in answer.text
    assert "key at no. 6" in answer.text
    answer = plan(world, begins="noon")
    assert answer.status_code == 400


def test_nobody_plans_sees_or_ends_visits_to_anothers_clients(world: World) -> None:
    assert plan(world, by="omar").status_code == 404
    plan(world)
    omar = world.signed_in("omar")
    assert omar.post("/visits/1/off").status_code == 404
    assert omar.post(f"/clients/{world.clients['ada']}/visited").status_code == 404
    assert "Ada" not in omar.page(f"/visits/round?day={DAY}")
    assert "Ada Sample" in world.signed_in("lena").page(f"/visits/round?day={DAY}")
    with world.store.read() as session:
        assert [one.done_at for one in session.exec(select(HomeVisit)).all()] == [None]


def test_ticked_clients_are_printed_with_what_to_look_at(world: World) -> None:
    ticked = f"{world.clients['ada']} {world.clients['bo']}"
    page = world.signed_in().post("/clients/many", act="print", clients=ticked)
    assert page.status_code == 200
    assert "Clients to take along" in page.text
    assert "Ada Sample" in page.text
    assert "Bo Specimen" in page.text


def test_the_month_has_every_visit_on_its_day_with_the_days_beside_it(world: World) -> None:
    plan(world)
    plan(world, day="2026-03-02", begins="")
    plan(world, "cy", day="2026-04-03", by="omar")
    tess = world.signed_in()
    tess.post(f"/clients/{world.clients['ada']}/visited")
    page = tess.page("/month")
    assert "<h1>March 2026</h1>" in page
    assert "2 visits in the month" in page
    cells = page.split('<li class="month-day')[1:]
    days = {cell.split('datetime="')[1][:10]: cell for cell in cells}
    # March 2026 begins on a Sunday and ends on a Tuesday: ISO 8601 weeks from 23 February on.
    assert list(days) == [
        (date(2026, 2, 23) + timedelta(days=number)).isoformat() for number in range(42)
    ]
    assert "09:30</span>" in days[DAY]
    assert "visited" in days["2026-03-02"]
    assert "Ada Sample" in days[DAY]
    assert f"/visits/round?day={DAY}" in days[DAY]
    assert "Cy" not in page
    assert "Cy Instance" in world.signed_in("lena").page("/month")
    assert page.count('aria-current="date"') == 1


def test_a_visit_that_nobody_marked_done_is_said_once_its_day_is_over(world: World) -> None:
    plan(world)
    world.pass_time(days=3)
    tess = world.signed_in()
    assert "not marked as done" in tess.page("/month")
    assert "Nothing is planned or due" in tess.page("/month?month=2030-01")


@pytest.mark.parametrize("month", ["soon", "2026-13", "1999-12", "2101-01"])
def test_a_month_that_is_none_is_refused(world: World, month: str) -> None:
    answer = world.signed_in().get(f"/month?month={month}")
    assert answer.status_code == 400
    assert "a month" in answer.text


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("theme", THEMES)
def test_the_pages_are_sound_in_a_browser(world: World, browser: Browser, width, theme) -> None:
    plan(world)
    plan(world, "bo", begins="")
    with served(world) as address:
        window = Window(browser, address, width, theme).sign_in()
        for path in (
            f"/week?start={DAY}",
            f"/month?month={DAY}",
            f"/visits/round?day={DAY}",
            f"/clients/{world.clients['ada']}/visits",
            "/visits",
        ):
            window.page.goto(path)
            assert window.axe() == []
            assert window.sideways() == 0
        window.page.goto("/month")
        paper = PdfReader(io.BytesIO(window.page.pdf(prefer_css_page_size=True)))
        assert len(paper.pages) == 1
        assert paper.pages[0].mediabox.width > paper.pages[0].mediabox.height
        assert window.complaints == []
        window.close()
