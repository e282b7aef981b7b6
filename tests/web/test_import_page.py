"""Clients from a list: columns matched, what it would do, good rows taken, others set aside."""

import csv
import html
import io
import re

import pytest
from browsing import WIDTHS, Window, served
from playwright.sync_api import Browser
from screened import harmless
from sqlmodel import select
from web_world import World, csrf_of

from rungwise.coach.enrolment.columns import COLUMNS, guessed, guesses
from rungwise.coach.enrolment.csv_list import LARGEST_BYTES, MOST_ROWS, decoded
from rungwise.store.tables import Audit, Client, Message, Screening

ROW = {
    **harmless(),
    "name": "Edda Vorlage",
    "phone": "+12025550177",
    "sex": "female",
    "home": "all",
    "stage_1": "10",
    "stage_2": "6",
    "stage_3": "",
    "agreed": "yes",
}


def written(
    *rows: dict[str, str], columns: tuple[str, ...] = tuple(ROW), delimiter: str = ","
) -> str:
    held = io.StringIO()
    writer = csv.DictWriter(held, columns, restval="", delimiter=delimiter, extrasaction="ignore")
    writer.writeheader()
    writer.writerows(rows)
    return held.getvalue()


def row(place: int, **changes: str) -> dict[str, str]:
    return {**ROW, "name": f"Person {place}", "phone": f"+1202555{3000 + place}", **changes}


def look(world: World, text: str | bytes, who: str = "tess") -> tuple[int, str]:
    """What choosing this file shows."""
    browser = world.signed_in(who)
    raw = text.encode() if isinstance(text, str) else text
    answer = browser.browser.post(
        "/clients/import",
        data={"csrf": csrf_of(browser.page("/account")), "step": "look"},
        files={"file": ("clients.csv", raw, "text/csv")},
    )
    return answer.status_code, str(answer.text)


def carried(shown: str) -> dict[str, str]:
    """The list and what its columns are taken for, as the browser would send them back."""
    kept = re.search(r"<textarea name=\"list\"[^>]*>\n(.*?)</textarea>", shown, re.DOTALL)
    assert kept
    held = html.unescape(kept[1]).replace("\r\n", "\n").replace("\n", "\r\n")
    hidden = r'<input type="hidden" name="(column_\d+|seen)" value="([^"]*)">'
    return {"list": held, **dict(re.findall(hidden, shown))}


def press(world: World, shown: str, step: str, who: str = "tess", **more: str):
    browser = world.signed_in(who)
    csrf = csrf_of(browser.page("/account"))
    return browser.browser.post(
        "/clients/import",
        data={"csrf": csrf, "step": step, **carried(shown), **more},
        files={"nothing": ("", b"")},
    )


def add(world: World, shown: str, who: str = "tess", **more: str) -> tuple[int, str]:
    """Press the button under what was shown: the list comes back as the browser would send it."""
    answer = press(world, shown, "add", who, **more)
    return answer.status_code, str(answer.text)


def problems(page: str) -> list[tuple[int, str, str]]:
    rows = re.findall(r'<tr><th scope="row">(\d+)</th><td>(.*?)</td><td>(.*?)</td></tr>', page)
    return [(int(line), column, html.unescape(told)) for line, column, told in rows]


def people(world: World) -> list[Client]:
    with world.store.read() as session:
        return list(session.exec(select(Client)).all())


def welcomed(world: World) -> int:
    with world.store.read() as session:
        return len(session.exec(select(Message).where(Message.kind == "welcome")).all())


def test_a_dry_run_shows_everybody_and_stores_nobody(world: World) -> None:
    before = len(people(world))
    status, page = look(
        world, written(row(1), row(2, stage_2="10", stage_3="3"), row(3, aid="yes"))
    )
    assert status == 200
    assert "This would add 3 clients" in page
    assert "2 may begin at once" in page
    for place in (1, 2, 3):
        assert f"Person {place}" in page
    assert "Side by side, 8.5 cm apart, hover" in page
    assert "A step, inner edges in line, hover" in page
    assert "walking aid" in page
    assert len(people(world)) == before


def test_then_all_are_added_and_no_text_goes_by_itself(world: World) -> None:
    _, shown = look(world, written(row(1), row(2)))
    before = welcomed(world)
    status, page = add(world, shown)
    assert status == 200
    assert "2 clients added" in page
    world.tick()
    assert welcomed(world) == before
    added = [one for one in people(world) if one.name.startswith("Person")]
    assert {one.state for one in added} == {"invited"}
    assert all(one.consent_at for one in added)
    with world.store.read() as session:
        lines = session.exec(select(Audit).where(Audit.action == "clients imported")).all()
        assert [line.detail["clients"] for line in lines] == [2]
        assert len(session.exec(select(Screening)).all()) == 2


def test_the_first_texts_go_if_that_was_ticked_but_not_into_a_quiet_hour(world: World) -> None:
    # 08:00 in New York is 03:00 in Honolulu.
    rows = (row(1), row(2, time_zone="Pacific/Honolulu"), row(3, chest="yes"))
    columns = (*ROW, "time_zone")
    _, shown = look(world, written(*rows, columns=columns))
    before = welcomed(world)
    _, page = add(world, shown, begin="yes")
    assert "1 got the first text now" in page
    assert "quiet hour where they are" in page
    assert welcomed(world) == before + 1
    states = {one.name: one.state for one in people(world)}
    assert [states[f"Person {n}"] for n in (1, 2, 3)] == ["active", "invited", "invited"]


def test_every_error_is_told_by_line_and_column(world: World) -> None:
    text = written(
        row(1, phone="12", sex="cat"),
        row(2),
        {},
        row(4, name="", stage_1="11"),
        row(5, falls="often"),
    )
    status, page = look(world, text)
    assert status == 200
    assert "This would add 1 client<" in page
    assert "3 rows set aside" in page
    told = problems(page)
    assert {(line, column) for line, column, _ in told} == {
        (2, "phone"),
        (2, "sex"),
        (5, "name"),
        (5, "stage_1"),
        (6, "falls"),
    }


def test_lines_are_counted_in_the_file_also_after_a_cell_of_several(world: World) -> None:
    text = written(row(1, someone="Tom,\nnext door"), row(2, phone="x"), columns=(*ROW, "someone"))
    assert [(line, column) for line, column, _ in problems(look(world, text)[1])] == [(4, "phone")]


def test_nobody_is_added_when_what_would_be_done_has_changed_since(world: World) -> None:
    _, shown = look(world, written(row(1), row(2)))
    # Meanwhile somebody adds one of them.
    _, other = look(world, written(row(2)), "omar")
    add(world, other, "omar")
    before = len(people(world))
    status, page = add(world, shown)
    assert status == 409
    assert "has changed since you looked" in page
    assert problems(page) == [(3, "phone", "A client of the practice has this number.")]
    assert len(people(world)) == before
    assert add(world, page)[0] == 200
    assert len(people(world)) == before + 1


def test_good_rows_are_taken_and_the_others_come_back_with_the_reason(world: World) -> None:
    text = written(row(1), row(2, phone="12", someone="=SUM(1)"), columns=(*ROW, "someone"))
    _, shown = look(world, text)
    answer = press(world, shown, "aside")
    assert "attachment" in answer.headers["content-disposition"]
    lines = list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))
    assert [line["name"] for line in lines] == ["Person 2"]
    assert lines[0]["why"].startswith("phone: It holds '12'.")
    # A spreadsheet must not take it for a formula (the list of characters: OWASP, CSV injection).
    assert lines[0]["someone"] == "'=SUM(1)"
    before = len(people(world))
    status, page = add(world, shown)
    assert (status, len(people(world))) == (200, before + 1)
    assert "1 client added" in page
    assert "1 row set aside" in page
    # Put right, the downloaded file is taken as it is.
    again = answer.content.decode("utf-8-sig").replace(",12,", ",+12025553002,")
    _, shown = look(world, again)
    assert "This would add 1 client<" in shown
    add(world, shown)
    assert len(people(world)) == before + 2


def test_columns_are_matched_by_what_people_call_them(world: World) -> None:
    text = "First name,Surname,Telephone,Gender,Shoe colour\nEdda,Vorlage,+12025553009,male,red\n"
    status, shown = look(world, text)
    assert status == 200
    assert "Edda Vorlage" in shown
    assert carried(shown)["column_4"] == ""
    add(world, shown)
    assert any(one.name == "Edda Vorlage" for one in people(world))


def test_a_column_is_matched_by_choosing_it(world: World) -> None:
    status, shown = look(world, "who,number,sex\nEdda Vorlage,+12025553009,male\n")
    assert status == 400
    assert {one[1] for one in problems(shown)} == {"name", "phone"}
    answer = press(world, shown, "again", column_0="name", column_1="phone", column_2="sex")
    assert answer.status_code == 200
    assert "This would add 1 client<" in answer.text
    twice = press(world, shown, "again", column_0="name", column_1="phone", column_2="phone")
    assert ("phone", "Two columns") in {(one[1], one[2][:11]) for one in problems(twice.text)}


@pytest.mark.parametrize(
    ("heading", "name"),
    [
        ("Telephone", "phone"),
        ("Mobile no.", "phone"),
        ("Mobile number", "phone"),
        ("Teléfono", "phone"),
        ("PHONE", "phone"),
        ("Telphone", "phone"),
        ("Height (cm)", "height_cm"),
        ("foot_length_cm", "foot_length_cm"),
        ("Preferred name", "called"),
        ("Apellidos", "name"),
        ("Notes", ""),
        ("", ""),
        ("1", ""),
    ],
)
def test_headings_are_guessed_or_left_out(heading: str, name: str) -> None:
    assert guessed(heading) == name


def test_every_column_of_ours_is_its_own_guess() -> None:
    assert guesses(COLUMNS) == COLUMNS
    assert guesses(["Name", "First name", "Phone", "Mobile"]) == ("name", "", "phone", "")


@pytest.mark.parametrize("width", WIDTHS)
def test_the_preview_is_sound_in_a_browser(world: World, browser: Browser, width: int) -> None:
    with served(world) as address:
        window = Window(browser, address, width).sign_in()
        window.page.goto("/clients/import")
        text = written(row(1), row(2, phone="12"))
        held = {"name": "c.csv", "mimeType": "text/csv", "buffer": text.encode()}
        window.page.get_by_label("CSV file").set_input_files([held])  # type: ignore[list-item]
        window.page.get_by_role("button", name="See what it would do").click()
        assert window.axe() == []
        assert window.sideways() == 0
        window.page.get_by_role("button", name="Add 1, leave 1 aside").click()
        assert "1 client added" in window.page.inner_text("main")
        assert window.axe() == []
        assert window.complaints == []
        window.close()


def test_a_number_that_stands_twice_is_told(world: World) -> None:
    text = written(row(1), row(2, phone="(202) 555-3001"))
    assert problems(look(world, text)[1]) == [(3, "phone", "Line 2 has the same number.")]


def test_without_the_questions_everybody_waits(world: World) -> None:
    few = {"name": "Person 9", "phone": "+12025553009", "sex": "male"}
    _, shown = look(world, written(few, columns=tuple(few)))
    assert "The screening questions have not been asked yet" in shown
    add(world, shown, begin="yes")
    person = next(one for one in people(world) if one.name == "Person 9")
    assert person.state == "invited"
    page = world.signed_in().page(f"/clients/{person.id}/start")
    assert "The screening questions have not been asked yet" in page


@pytest.mark.parametrize(
    ("text", "line", "column", "told"),
    [
        ("name,sex\nA,male\n", 1, "phone", "needed"),
        ("name,phone\nA,+12025553001,more,still\n", 2, "", "4 cells under 2 columns"),
        ("name,phone\n\n\n", 1, "", "nobody"),
        ("", 1, "name", "needed"),
        ('name,phone\n"A,+12025553001\n', 2, "phone", "Fill in"),
    ],
)
def test_a_file_that_is_no_such_list_is_told(world: World, text, line, column, told) -> None:
    status, page = look(world, text)
    assert status == 400
    found = problems(page)
    assert any(one[:2] == (line, column) and told in one[2] for one in found), found


def test_a_list_too_long_or_too_large_is_told(world: World) -> None:
    many = written(*(row(n) for n in range(MOST_ROWS + 1)), columns=("name", "phone", "sex"))
    assert f"More than {MOST_ROWS} rows" in look(world, many)[1]
    large = "name,phone\n" + "x" * LARGEST_BYTES
    assert "larger than 100 kB" in look(world, large)[1]


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_the_separators_of_other_countries_are_taken(world: World, delimiter: str) -> None:
    status, page = look(world, written(row(1, height_cm="164,5"), delimiter=delimiter))
    assert (status, "This would add 1 client<" in page) == (200, True)


@pytest.mark.parametrize(
    ("raw", "text", "guessed"),
    [
        ("\ufeffname\nJosé".encode(), "name\nJosé", False),
        ("name\nJosé".encode("utf-16"), "name\nJosé", False),
        ("name\nJosé".encode("cp1252"), "name\nJosé", True),
        (b"name\nA\x00B", "name\nA\ufffdB", False),
    ],
)
def test_the_letters_of_a_file_are_read_or_guessed_aloud(raw: bytes, text: str, guessed) -> None:
    found, note = decoded(raw)
    assert found == text
    assert bool(note) is guessed


def test_formulas_and_markup_stay_words(world: World) -> None:
    _, page = look(world, written(row(1, name='=HYPERLINK("x")<script>')))
    assert "<script>" not in page.replace("<script src", "")
    add(world, page)
    assert any(one.name == '=HYPERLINK("x")<script>' for one in people(world))


def test_no_file_chosen_is_told(world: World) -> None:
    answer = world.signed_in().post("/clients/import", step="look")
    assert answer.status_code == 400
    assert "choose one first" in answer.text


def test_the_empty_list_has_every_column_and_reads_back(world: World) -> None:
    answer = world.signed_in().get("/clients/import/columns.csv")
    assert "attachment" in answer.headers["content-disposition"]
    text, note = decoded(answer.content)
    assert text.strip().split(",") == list(COLUMNS)
    assert note == ""
    page = world.signed_in().page("/clients/import")
    for name in COLUMNS:
        assert f"<code>{name}</code>" in page


def test_a_row_may_hold_every_column(world: World) -> None:
    full = {
        **dict.fromkeys(COLUMNS, ""),
        **row(1),
        "called": "Per",
        "language": "es",
        "time_zone": "Europe/Madrid",
        "foot_length_cm": "25.1",
        "foot_breadth_cm": "9.5",
        "hip_width_cm": "17.5",
        "big_toe_pain": "no",
        "weaker": "left",
        "no_full_weight": "none",
        "mat_layers": "4",
        "foam": "both",
        "prompt_at": "8:30",
        "weekdays": "Monday, Wed fri",
        "target_s": "15",
        "caution": "gentle",
    }
    status, shown = look(world, written(full, columns=COLUMNS))
    assert status == 200, problems(shown)
    add(world, shown)
    person = next(one for one in people(world) if one.called == "Per")
    assert (person.language, person.time_zone) == ("es", "Europe/Madrid")
