"""The page of the duty plan: what it says of gaps and of now, and who may change it."""

import re

import pytest
from browsing import THEMES, WIDTHS, Window, served
from playwright.sync_api import Browser
from sqlmodel import select
from web_world import World

from rungwise.coach.alerting.duty import hours_of
from rungwise.coach.record.audit import record
from rungwise.store.tables import Duty, Incident, Message, Trainer

PAGE = "/practice/duty"
# Looked at in a browser here.
PAGES = (PAGE, "/practice/retention")


def line(number: int, day: str, begins: str, ends: str, who: int) -> dict[str, str]:
    values = {"day": day, "from": begins, "until": ends, "who": str(who)}
    return {f"{name}-{number}": value for name, value in values.items()}


def plan(world: World, **more: str) -> dict[str, str]:
    """Tess by day in the week, Omar by night."""
    tess, omar = world.trainers["tess"], world.trainers["omar"]
    return {
        **line(1, "working", "08:00", "17:00", tess),
        **line(2, "daily", "22:00", "07:00", omar),
        "step": "take",
        **more,
    }


def stored(world: World) -> list[Duty]:
    with world.store.read() as session:
        return list(session.exec(select(Duty)).all())


def words(page: str) -> str:
    """The page's words without its marks, spaces put together."""
    return " ".join(re.sub(r"<[^>]+>", " ", page).replace("&#39;", "'").split())


def test_without_a_plan_it_says_who_is_paged(world: World) -> None:
    page = world.signed_in("lena").page(PAGE)
    assert "There is no plan" in page
    assert "Gaps" not in page


def test_a_lead_makes_a_plan_with_gaps_overlaps_and_who_is_on_duty_now(world: World) -> None:
    browser = world.signed_in("lena")
    answer = browser.post(PAGE, **plan(world))
    assert (answer.status_code, answer.headers["location"]) == (303, PAGE)
    assert len(stored(world)) == 5 + 14
    page = words(browser.page(PAGE))
    # The world's clock stands at Monday 08:00 in New York.
    assert "Tess Example , until Monday 17:00" in page
    assert "Monday 17:00 to 22:00" in page
    assert "Monday 07:00 to 08:00" in page
    assert "Saturday 07:00 to 22:00" in page
    assert "the practice lead (Lena Placeholder) are paged then" in page
    assert "Several are on duty" not in page


def test_it_comes_back_as_it_was_written(world: World) -> None:
    browser = world.signed_in("lena")
    browser.post(PAGE, **plan(world))
    first = hours_of(stored(world))
    page = browser.page(PAGE)
    given = dict(re.findall(r'name="((?:from|until)-\d+)" value="([^"]*)"', page))
    for name, number, choices in re.findall(
        r'name="(day|who)-(\d+)"[^>]*>(.*?)</select>', page, re.DOTALL
    ):
        chosen = re.search(r'value="([^"]*)" selected', choices)
        given[f"{name}-{number}"] = chosen[1] if chosen else ""
    assert browser.post(PAGE, step="take", **given).status_code == 303
    assert hours_of(stored(world)) == first


def test_looking_saves_nothing_and_names_overlaps(world: World) -> None:
    browser = world.signed_in("lena")
    lena = world.trainers["lena"]
    more = line(3, "0", "07:30", "09:00", lena)
    answer = browser.post(PAGE, **plan(world, **more, step="look"))
    assert answer.status_code == 200
    page = words(answer.text)
    assert "Not saved yet." in page
    assert "Monday 08:00 to 09:00: Tess Example and Lena Placeholder" in page
    assert "Lena Placeholder and Tess Example" in page or "Tess Example and Lena" in page
    assert stored(world) == []


def test_the_page_says_the_truth_about_a_gap(world: World) -> None:
    """What it promises is what paging does: nobody on duty pages the own trainer and the lead."""
    browser = world.signed_in("lena")
    browser.post(PAGE, **line(1, "2", "08:00", "12:00", world.trainers["omar"]), step="take")
    assert "Nobody until Wednesday 08:00." in words(browser.page(PAGE))
    world.reply("ada", "I fell")
    with world.store.read() as session:
        pages = session.exec(select(Message.to_phone).where(Message.kind == "page")).all()
        phones = {session.get_one(Trainer, world.trainers[who]).phone for who in ("tess", "lena")}
    assert set(pages) == phones


WRONG = (
    ({"from-1": "08:00", "until-1": "08:00"}, "from one time until another"),
    ({"from-1": ""}, "a time of day"),
    ({"until-1": "25:00"}, "a time of day"),
    ({"day-1": "sometimes"}, "a weekday"),
    ({"who-1": ""}, "a trainer of the list"),
    ({"who-1": "99999999999999999999"}, "a trainer of the list"),
    ({"who-1": "777"}, "a trainer of the list"),
)


def test_what_cannot_be_is_told_at_its_line_and_kept(world: World) -> None:
    browser = world.signed_in("lena")
    for wrong, says in WRONG:
        answer = browser.post(PAGE, **plan(world, **wrong))
        assert answer.status_code == 400, wrong
        assert 'id="wrong-line-1"' in answer.text, wrong
        assert says in answer.text, wrong
        assert 'value="22:00"' in answer.text, "the other line is still there"
    assert stored(world) == []


def test_a_trainer_sees_it_and_changes_nothing(world: World) -> None:
    world.signed_in("lena").post(PAGE, **plan(world))
    browser = world.signed_in("tess")
    page = browser.page(PAGE)
    assert '<form method="post" action="/practice/duty"' not in page
    assert "Monday to Friday" in page
    answer = browser.post(PAGE, step="take")
    assert answer.status_code == 400
    assert len(stored(world)) == 19


def test_emptying_every_line_ends_the_plan(world: World) -> None:
    browser = world.signed_in("lena")
    browser.post(PAGE, **plan(world))
    assert browser.post(PAGE, step="take").status_code == 303
    assert stored(world) == []
    assert "There is no plan" in browser.page(PAGE)


def test_who_cannot_be_paged_or_has_left_is_named(world: World) -> None:
    browser = world.signed_in("lena")
    browser.post(PAGE, **plan(world))
    with world.store.write() as session:
        session.get_one(Trainer, world.trainers["tess"]).phone = None
        session.get_one(Trainer, world.trainers["omar"]).active = False
    page = words(browser.page(PAGE))
    assert "Tess Example cannot be paged" in page
    assert "Omar Sample can't sign in any more" in page
    assert "Monday 17:00 to Tuesday 08:00" in page


def test_it_is_linked_from_the_practices_page(world: World) -> None:
    for who in ("lena", "tess"):
        assert f'href="{PAGE}"' in world.signed_in(who).page("/practice")


@pytest.mark.browser
def test_it_works_without_scripts_and_is_accessible(world: World, browser: Browser) -> None:
    theirs = world.trainers["omar"]
    world.parts.carriers["email"] = world.parts.carriers["handset"]  # offers the choice of ways
    with served(world) as address:
        window = Window(browser, address, scripts=False).sign_in("lena")
        window.page.goto(PAGE)
        window.page.get_by_label("Days, line 1").select_option("daily")
        window.page.get_by_label("From, line 1").fill("08:00")
        window.page.get_by_label("Until, line 1").fill("12:00")
        window.page.get_by_label("Who, line 1").select_option(label="Omar Sample")
        window.page.get_by_role("button", name="Save the plan").click()
        assert "Omar Sample" in window.page.locator("#now").inner_text()
        window.close()
        wrong: list[str] = []
        for width, theme in zip(WIDTHS, THEMES, strict=True):
            window = Window(browser, address, width, theme).sign_in("lena")
            for path in (*PAGES, f"/practice/trainers/{theirs}"):
                window.page.goto(path)
                wrong += [f"{path}: {found}" for found in window.axe()]
                assert window.sideways() <= 0, path
            assert window.complaints == []
            window.close()
    assert wrong == []


def test_only_the_lead_sees_which_pages_were_answered_by_a_digit(world: World) -> None:
    world.reply("ada", "I fell")
    world.tick()
    assert "None yet." in world.signed_in("lena").page(PAGE).partition("Answered by a digit")[2]
    with world.store.write() as session:
        incident = session.exec(select(Incident)).one()
        tess = session.get_one(Trainer, world.trainers["tess"])
        record(
            session, world.clock.now(), tess, "page answered", client_id=incident.client_id,
            incident=incident.id, digit=2, by="second contact",
        )  # fmt: skip
        link = f'href="/incidents/{incident.id}"'
    page = world.signed_in("lena").page(PAGE).partition("Answered by a digit")[2]
    assert link in page
    assert "Tess Example's second contact" in page.replace("&#39;", "'")
    assert "2: answered the page: phoned, all well so far" in page
    assert "Answered by a digit" not in world.signed_in("tess").page(PAGE)
