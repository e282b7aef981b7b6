"""The progress summary: what it counts, what it says to whom, and that it fits its sheets."""

import io
import re
import subprocess
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from browsing import Window, launch, served
from playwright.sync_api import Browser, sync_playwright
from pypdf import PdfReader
from sqlmodel import Session, select
from web_world import PROFILE, START, World

from rungwise.coach.record.codec import ladder_of
from rungwise.coach.record.situation import Situation, load
from rungwise.coach.reports.summary import LONGEST_WORDS, MOST_SIGNS, Summary, set_words, summary_of
from rungwise.coach.reviews.retests import NewRetest, record_retest
from rungwise.concepts.measures import Lengths
from rungwise.errors import ImpossibleValue
from rungwise.store.tables import (
    Alert,
    Audit,
    Client,
    MoveRow,
    Placement,
    PlanRow,
    Practice,
    Trainer,
)
from rungwise.web.charts.family_pictures import at_one_scale
from rungwise.web.reports.summary_pdf import client_pdf, colleague_pdf
from rungwise.web.reports.summary_view import for_client, in_short, pictures, retest_lines
from rungwise.wording.rung_words import rung_picture
from rungwise.wording.summary_words import date_words, dates_words, summary_words, told_lines

LADDER = ladder_of(PROFILE)
LONG = "Phoned the same day; a bruise on the left hip, no blow to the head, saw the doctor. " * 6


def page_of(world: World, who: str = "ada", more: str = "") -> str:
    return f"/clients/{world.clients[who]}/summary{more}"


def summed(world: World, who: str = "ada", weeks: int = 12) -> Summary:
    with world.store.read() as session:
        return summary_of(session, world.clock.now(), situation(session, world, who), weeks)


def situation(session: Session, world: World, who: str) -> Situation:
    found = load(session, session.get_one(Client, world.clients[who]))
    assert found is not None
    return found


def three_months_on(world: World, who: str = "ada") -> None:
    """As full as a summary can get: long words, many signs, four retests with changes."""
    world.clock.set(START + timedelta(weeks=13))
    now = world.clock.now()
    with world.store.write() as session:
        client = session.get_one(Client, world.clients[who])
        trainer = session.get_one(Trainer, world.trainers["tess"])
        for place in range(MOST_SIGNS + 3):
            at = now - timedelta(days=40 - place)
            session.add(
                Alert(
                    practice_id=client.practice_id,
                    client_id=client.id,
                    kind=("fall", "pain", "dizziness")[place % 3],
                    urgency="urgent",
                    state="handled",
                    system_did="Practice was stopped.",
                    opened_at=at,
                    last_at=at,
                    handled_at=at,
                    handled_by=trainer.id,
                    what_done=LONG[:500],
                )
            )
        set_words(session, now, trainer, client, LONG[:LONGEST_WORDS], LONG[:LONGEST_WORDS])
        session.flush()
        for ago, kind, measured in (
            (60, "four_stage", {"held_s": [10.0, 10.0, 4.0]}),
            (50, "one_leg", {"left_s": [4.0, 4.5, 3.0], "right_s": [6.0, 7.0, 7.5]}),
            (10, "four_stage", {"held_s": [10.0, 10.0, 10.0, 6.5]}),
            (9, "one_leg", {"left_s": [8.0, 7.5, 9.0], "right_s": [9.5, 8.0, 9.9]}),
            (8, "chair_stand_30s", {"stands": 8, "arms_used": False}),
        ):
            new = NewRetest(kind, now.date() - timedelta(days=ago), 81, measured, "female")
            record_retest(session, now, trainer, client, new)


def text_of(pdf: bytes) -> str:
    return "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages)


# --- what is counted ------------------------------------------------------------------------------


def test_days_planned_asked_practised_and_steady_are_counted_by_week(world: World) -> None:
    world.pass_time(hours=2)  # Monday
    world.reply("ada", "20 steady")
    world.pass_time(days=1)
    world.reply("ada", "14 wobbly")
    world.pass_time(days=1)
    world.reply("ada", "skipped")
    world.pass_time(days=6)  # the next Tuesday
    world.reply("ada", "L20 R20 steady, all good")
    found = summed(world)
    assert [(week.monday.day, week.planned, week.asked) for week in found.weeks] == [
        (2, 7, 7),
        (9, 2, 2),
    ]
    assert [(week.practised, week.steady) for week in found.weeks] == [(2, 1), (1, 1)]
    assert (found.planned, found.practised, found.steady) == (9, 3, 2)
    assert found.share == pytest.approx(3 / 9)
    assert "Practised on 3 of 9 planned days (33%), steady to target on 2." in in_short(found)[0]


def test_the_plan_of_the_time_counts_and_dates_away_do_not(world: World) -> None:
    with world.store.write() as session:
        here = situation(session, world, "ada")
        weekly = {**here.plan_row.settings, "weekdays": [0, 2, 4]}
        away = {**weekly, "away": [["2026-03-16", "2026-03-20"]]}
        for version, settings, at in (
            (2, weekly, START + timedelta(weeks=1)),
            (3, away, START + timedelta(weeks=2)),
        ):
            session.add(
                PlanRow(
                    client_id=here.client_id,
                    version=version,
                    settings=settings,
                    profile=here.plan_row.profile,
                    set_at=at,
                )
            )
        placement = session.get_one(Placement, here.client_id)
        placement.plan_version = 3
    world.clock.set(START + timedelta(weeks=4) - timedelta(days=1))
    assert [week.planned for week in summed(world).weeks] == [7, 3, 0, 3]


def test_falls_pain_and_dizziness_are_told_with_their_dates(world: World) -> None:
    world.pass_time(hours=2)
    world.reply("ada", "I fell in the kitchen")
    world.reply("bo", "20 but my knee hurts, pain")
    ada, bo = summed(world), summed(world, "bo")
    assert ada.falls == (date(2026, 3, 2),)
    assert "falls 1 (2 Mar)" in in_short(ada)[2]
    assert "Resting now: no practice until the trainer says so." in in_short(ada)
    assert bo.pains == (date(2026, 3, 2),)
    assert [sign.kind for sign in ada.signs] == ["fall"]
    assert ada.signs[0].done == ""


def test_nothing_told_is_said_so(world: World) -> None:
    assert "No fall, no pain and no dizziness was told." in in_short(summed(world))


def test_rungs_at_the_beginning_hardest_and_now(world: World) -> None:
    tandem = next(rung.key for rung in LADDER.rungs if rung.landmark == "tandem")
    easier = next(rung.key for rung in LADDER.rungs if rung.landmark == "feet_together")
    start = LADDER.rungs[0].key
    with world.store.write() as session:
        for day, source, to in ((5, start, tandem), (9, tandem, easier)):
            session.add(
                MoveRow(
                    client_id=world.clients["ada"],
                    local_date=date(2026, 3, day),
                    kind="override",
                    from_key=source,
                    to_key=to,
                    rule="trainer",
                    because="Seen at the visit.",
                    alerts=[],
                    facts={},
                    rule_version=1,
                    plan_version=1,
                    decided_at=datetime(2026, 3, day, 15, tzinfo=UTC),
                )
            )
        session.get_one(Placement, world.clients["ada"]).rung_key = easier
    world.clock.set(START + timedelta(days=10))
    found = summed(world)
    assert [rung.key if rung else None for rung in (found.began_on, found.best, found.now_on)] == [
        start,
        tandem,
        easier,
    ]
    assert [picture.name for picture in pictures(found, "light")] == [
        "At the beginning",
        "Hardest since",
        "Now",
    ]
    assert "Landmarks newly stood on: feet together, tandem." in in_short(found)[1]
    later = summed(world, weeks=4)
    assert later.began_on == found.began_on


def test_retests_stand_beside_published_figures_and_their_sources(world: World) -> None:
    three_months_on(world)
    lines = retest_lines(summed(world).retests)
    assert len(lines) == 4
    assert lines[0].test == "30-second chair stand"
    assert lines[0].result == "8 stands in 30 s"
    assert "CDC STEADI" in lines[0].beside[0]
    assert any("measurement error" in beside for line in lines for beside in line.beside)
    assert not any("death" in beside for line in lines for beside in line.beside)


def test_only_certain_stretches_can_be_asked_for(world: World) -> None:
    with pytest.raises(ImpossibleValue):
        summed(world, weeks=100)
    assert world.signed_in().get(page_of(world, more="?weeks=100")).status_code == 400
    assert world.signed_in().get(page_of(world, more="?reader=press")).status_code == 400


# --- the page -------------------------------------------------------------------------------------


def test_the_page_shows_it_all_and_keeps_the_trainers_words(world: World) -> None:
    three_months_on(world)
    browser = world.signed_in()
    page = browser.page(page_of(world))
    for words in ("In short", "The trainer's words", "Where the feet were", "Practice by week",
                  "Seconds held", "Falls, pain and dizziness told", "Retests beside"):  # fmt: skip
        assert words in page
    assert "And 3 earlier." in page
    browser.post(page_of(world), to_colleagues="See <b>her</b> knee.", to_client="Well kept up.")
    page = browser.page(page_of(world))
    assert "See &lt;b&gt;her&lt;/b&gt; knee." in page
    assert "Well kept up." in browser.page(page_of(world, more="?reader=client"))


def test_words_too_long_for_the_sheet_are_refused(world: World) -> None:
    browser = world.signed_in()
    assert browser.post(page_of(world), to_client="a\n" * 9).status_code == 400
    answer = browser.post(page_of(world), to_colleagues="x" * (LONGEST_WORDS + 1))
    assert answer.status_code == 400
    assert f"at most {LONGEST_WORDS} characters" in answer.text


def test_the_chart_is_an_svg_of_the_same_weeks(world: World) -> None:
    answer = world.signed_in().get(page_of(world, more="/holds.svg?theme=print"))
    assert answer.headers["content-type"] == "image/svg+xml"
    assert b"<svg" in answer.content


def test_taking_it_out_is_on_record_and_only_for_ones_own(world: World) -> None:
    browser = world.signed_in()
    answer = browser.post(page_of(world, more="/pdf?reader=client"))
    assert answer.headers["content-type"] == "application/pdf"
    assert "Ada" not in answer.headers["content-disposition"]
    assert browser.post(page_of(world, "cy", "/pdf")).status_code == 404
    with world.store.read() as session:
        lines = session.exec(select(Audit).where(Audit.action == "summary taken out")).all()
    assert [line.detail for line in lines] == [{"reader": "client"}]


# --- the client's version -------------------------------------------------------------------------


@pytest.mark.parametrize("language", ["en", "es"])
def test_the_client_reads_plain_words_in_their_language(world: World, language: str) -> None:
    with world.store.write() as session:
        session.get_one(Client, world.clients["ada"]).language = language
    found = summed(world)
    told = for_client(found, "light")
    said = summary_words(language)
    assert told.title == said["title"]
    assert told.told == (said["told_none"],)
    assert [picture.name for picture in told.pictures] == [said["same"]]
    assert told.mind
    assert "911" in told.foot
    page = world.signed_in().page(page_of(world, more="?reader=client"))
    assert f'<article class="paper plain-paper" lang="{language}"' in page
    assert told.title in page
    assert "CDC" not in page


def test_who_rests_is_shown_no_task_to_do(world: World) -> None:
    world.reply("ada", "I fell")
    told = for_client(summed(world), "light")
    assert told.resting == summary_words("en")["resting"]
    assert told.mind == ()
    assert [picture.name for picture in told.pictures] == ["Here you were before the rest"]
    assert told.told == (
        "You told us of a fall: 2 March.",
        "Please talk about this with your trainer and your doctor.",
    )


def test_both_languages_have_the_same_words() -> None:
    assert set(summary_words("en")) == set(summary_words("es"))
    for language in ("en", "es"):
        assert len(summary_words(language)["months"]) == 12
        places = {
            name: sorted(re.findall(r"\{(\w+)\}", str(words)))
            for name, words in summary_words(language).items()
        }
        assert places == {
            name: sorted(re.findall(r"\{(\w+)\}", str(words)))
            for name, words in summary_words("en").items()
        }


@pytest.mark.parametrize(
    ("language", "date_is", "dates_are"),
    [
        ("en", "2 March 2026", "2 March, 5 April and 1 May"),
        ("es", "2 de marzo de 2026", "2 de marzo, 5 de abril y 1 de mayo"),
    ],
)
def test_dates_are_said_as_people_say_them(language: str, date_is: str, dates_are: str) -> None:
    days = [date(2026, 3, 2), date(2026, 4, 5), date(2026, 5, 1)]
    assert date_words(days[0], language) == date_is
    assert dates_words(days, language) == dates_are
    assert dates_words(days[:1], language) == date_words(days[0], language, year=False)
    assert len(told_lines(days, days[:1], (), language)) == 3


# --- paper ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(("country", "size"), [("US", (612, 792)), ("GB", (595, 842))])
def test_the_pdf_is_two_sheets_however_much_there_is_to_say(
    world: World, country: str, size: tuple[int, int]
) -> None:
    three_months_on(world)
    full = summed(world)
    assert len(full.weeks) == 12
    assert (len(full.signs), full.more_signs, len(full.retests)) == (MOST_SIGNS, 3, 4)
    more = replace(full, retests=full.retests * 2)
    for summary in (full, more, replace(full, weeks=full.weeks[:1], signs=(), retests=())):
        pdf = PdfReader(io.BytesIO(colleague_pdf(summary, country, world.clock.now())))
        assert len(pdf.pages) == 2
        box = pdf.pages[0].mediabox
        assert (round(box.width), round(box.height)) == size


@pytest.mark.parametrize(("country", "size"), [("US", (612, 792)), ("GB", (595, 842))])
@pytest.mark.parametrize("language", ["en", "es"])
def test_the_familys_page_is_one_sheet_and_shows_what_it_says(
    world: World, tmp_path: Path, country: str, size: tuple[int, int], language: str
) -> None:
    three_months_on(world)
    with world.store.write() as session:
        session.get_one(Client, world.clients["ada"]).language = language
    held = client_pdf(summed(world), country, START)
    pdf = PdfReader(io.BytesIO(held))
    assert len(pdf.pages) == 1
    assert (round(pdf.pages[0].mediabox.width), round(pdf.pages[0].mediabox.height)) == size
    text = " ".join(pdf.pages[0].extract_text().split())
    for name in ("scale", "way", "days", "days_key"):
        assert summary_words(language)[name] in text
    # Rendered by another program: there is something from top to bottom, and the edges are free.
    (tmp_path / "page.pdf").write_bytes(held)
    command = ["pdftoppm", "-r", "60", "-gray", "-singlefile", "page.pdf", "page"]
    subprocess.run(command, check=True, cwd=tmp_path)
    _, width, _, _, pixels = (tmp_path / "page.pgm").read_bytes().split(maxsplit=4)
    wide = int(width)
    rows = [pixels[at : at + wide] for at in range(0, len(pixels), wide)]
    inked = [sum(value < 200 for value in row) for row in rows]
    assert sum(count > 0 for count in inked) > len(inked) / 2
    assert inked[0] == inked[-1] == 0


def letters_of(pdf: bytes) -> dict[str, float]:
    """How large, in points, each line of the sheet is written."""
    found: dict[str, float] = {}

    def keep(text: str, _cm: object, _tm: object, _font: object, size: float) -> None:
        if text.strip():
            found[text.strip()] = size

    PdfReader(io.BytesIO(pdf)).pages[0].extract_text(visitor_text=keep)
    return found


@pytest.mark.parametrize("country", ["US", "GB"])
def test_the_familys_letters_are_large_and_long_words_still_keep_to_one_sheet(
    world: World, country: str
) -> None:
    # Clear print for people who see poorly is 12 points at least: from memory.
    world.pass_time(hours=2)
    world.reply("ada", "20 steady")
    plain = summed(world)
    sizes = letters_of(client_pdf(plain, country, START))
    told = for_client(plain, "light")
    read = [size for line, size in sizes.items() if line.startswith(("–", told.practice[0][:12]))]
    assert len(read) >= 3
    assert min(read) >= 12
    # Eight weeks and the longest words that are taken, wide ones, once took a second sheet.
    wordy = replace(plain, to_client=("Well done all month. " * 30)[:LONGEST_WORDS])
    assert len(PdfReader(io.BytesIO(client_pdf(wordy, country, START))).pages) == 1


@pytest.mark.parametrize(("lengths", "mark"), [("cm", "10 cm"), ("in", "4 in")])
def test_feet_stand_at_one_scale_with_the_same_mark(lengths: Lengths, mark: str) -> None:
    drawings = [rung_picture(rung, LADDER.body, for_client=True) for rung in LADDER.rungs[::20]]
    sheets = at_one_scale(drawings, lengths)
    assert len({re.search(r'viewBox="[^"]+"', sheet)[0] for sheet in sheets}) == 1
    for drawing, sheet in zip(drawings, sheets, strict=True):
        assert mark in sheet
        wide = re.search(r'viewBox="0 0 ([\d.]+)', drawing)
        nested = re.search(r'<svg x="[\d.]+" y="0" width="([\d.]+)"', sheet)
        assert wide
        assert nested
        assert float(wide[1]) == pytest.approx(float(nested[1]), abs=0.1), "a unit is a millimetre"


def test_who_rests_is_shown_no_next_landmark(world: World) -> None:
    assert for_client(summed(world), "light").next
    world.reply("ada", "I fell")
    told = for_client(summed(world), "light")
    assert told.next == ""
    assert "next" not in told.way


def test_the_pdf_says_what_the_page_says(world: World) -> None:
    three_months_on(world)
    found = summed(world)
    pdf = colleague_pdf(found, "US", world.clock.now())
    text = " ".join(text_of(pdf).split())
    for words in (*in_short(found), "30-second chair stand", "The trainer's words",
                  "This is not a diagnosis.", "1 / 2", "2 / 2"):  # fmt: skip
        assert " ".join(words.split()) in text
    about = PdfReader(io.BytesIO(pdf)).metadata
    assert about
    assert about.title == "Ada Sample: balance practice"
    client = " ".join(text_of(client_pdf(found, "US", world.clock.now())).split())
    assert "Your balance practice" in client
    assert "Days on which you practised" in client


def test_the_same_summary_gives_the_same_pdf(world: World) -> None:
    found = summed(world)
    assert colleague_pdf(found, "US", START) == colleague_pdf(found, "US", START)


def test_letters_of_other_languages_are_on_paper(world: World) -> None:
    found = replace(summed(world), to_client="Año señal — ¿Cómo está? Ωφ Žižkov")
    assert "Ωφ Žižkov" in text_of(client_pdf(found, "US", START))


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        launched = launch(playwright)
        yield launched
        launched.close()


@pytest.mark.browser
def test_the_browser_prints_two_sheets_too(world: World, chromium: Browser) -> None:
    three_months_on(world)
    with served(world) as address:
        window = Window(chromium, address).sign_in("lena")
        for reader, most in (("colleague", 2), ("client", 2)):
            window.page.goto(page_of(world, more=f"?reader={reader}"))
            for size in ("A4", "Letter"):
                pdf = PdfReader(io.BytesIO(window.page.pdf(format=size)))
                assert len(pdf.pages) <= most, (reader, size)
            printed = " ".join(page.extract_text() for page in pdf.pages)
            assert "Sign out" not in printed
            assert "Your words in it" not in printed
        assert window.complaints == []
        window.close()


@pytest.mark.browser
@pytest.mark.parametrize("language", ["en", "es"])
def test_the_browser_prints_the_fridges_sheet_on_one(
    world: World, chromium: Browser, language: str
) -> None:
    with world.store.write() as session:
        session.get_one(Client, world.clients["ada"]).language = language
    with served(world) as address:
        window = Window(chromium, address).sign_in("lena")
        window.page.goto(page_of(world, more="?reader=client"))
        for size in ("A4", "Letter"):
            pdf = PdfReader(io.BytesIO(window.page.pdf(format=size)))
            assert len(pdf.pages) == 1, size
        window.close()


def test_a_practice_in_another_country_prints_its_paper(world: World) -> None:
    with world.store.write() as session:
        session.get_one(Practice, 1).country = "DE"
    pdf = world.signed_in().post(page_of(world, more="/pdf")).content
    assert round(PdfReader(io.BytesIO(pdf)).pages[0].mediabox.height) == 842
