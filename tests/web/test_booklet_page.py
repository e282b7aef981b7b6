"""The booklet for a clinician: whole, read off the tables, and reviewed by version."""

import io
import re
from datetime import date

import pytest
from pypdf import PdfReader
from sqlmodel import col, select
from web_world import World

from rungwise.coach.conversation.wishes import HANDLERS
from rungwise.coach.reports import booklet as booklets
from rungwise.coach.reports.booklet import our_booklet
from rungwise.coach.reports.clinician_review import reviewed
from rungwise.concepts.answers import ANSWERS
from rungwise.concepts.questions import QUESTIONS
from rungwise.concepts.signs import SIGNS
from rungwise.store.tables import Audit, ClinicianReview, OwnWording, Practice
from rungwise.wording.catalogue import GROUPS
from rungwise.wording.texts import LANGUAGES

GOOD = {
    "clinician": "Dr Pat Placeholder",
    "profession": "geriatrician",
    "reviewed_on": "2026-03-01",
}


def version(world: World) -> str:
    with world.store.read() as session:
        return reviewed(session, session.get_one(Practice, 1)).version


def page(world: World, who: str = "tess") -> str:
    return " ".join(world.signed_in(who).page("/practice").split())


def change_a_text(world: World) -> None:
    with world.store.write() as session:
        session.add(
            OwnWording(
                practice_id=1,
                language="es",
                name="help_no",
                body="Gracias. Descanse.",
                set_at=world.clock.now(),
            )
        )


# --- what is in it --------------------------------------------------------------------------------


def test_every_text_to_clients_is_there_in_every_language_with_when_it_is_sent() -> None:
    shown = {row[0]: row[1:] for table in our_booklet().texts for row in table.rows}
    wanted = {
        f"{name}: {spec.when}"
        for title, group in GROUPS.items()
        if not title.startswith("To ")
        for name, spec in group.items()
    }
    assert set(shown) == wanted
    assert all(len(words) == len(LANGUAGES) and all(words) for words in shown.values())
    assert not any("{" in text for words in shown.values() for text in words)


def test_every_sign_answer_question_and_wish_is_there() -> None:
    tables = {table.title: table for table in our_booklet().tables}
    first = {
        title: {row[0].replace(" ", "_") for row in each.rows} for title, each in tables.items()
    }
    assert first["What each sign of harm leads to"] == set(SIGNS)
    assert first["Questions"] == set(QUESTIONS)
    assert first["What each wish leads to"] == set(HANDLERS)
    for kind, rows in ANSWERS.items():
        assert first[f"What each answer leads to: {kind.replace('_', ' ')}"] == set(rows)


def test_what_wishes_lead_to_is_what_the_handlers_do(monkeypatch: pytest.MonkeyPatch) -> None:
    wishes = next(each for each in our_booklet().tables if each.title.startswith("What each wish"))
    rows = {row[0]: row[1:] for row in wishes.rows}
    practising, resting, stopped = rows["another hour"]
    assert "The plan is changed." in practising
    assert "The plan is changed." not in resting + stopped
    assert "Text:" not in stopped.replace("No text was sent", "")
    assert "The plan is changed." in rows["back"][0]
    assert "practice" in rows["back"][1].lower()  # a rest is ended by no wish
    booklets._booklet.cache_clear()
    monkeypatch.setitem(HANDLERS, "harder", lambda turn, reading: turn.say("later_today"))
    assert our_booklet().version != version_of(wishes)
    booklets._booklet.cache_clear()


def version_of(wishes: booklets.Table) -> str:
    """The version of the booklet that has this table."""
    monkeyless = our_booklet()
    booklets._booklet.cache_clear()
    whole = tuple(wishes if each.title == wishes.title else each for each in monkeyless.tables)
    return booklets.Booklet(monkeyless.texts, monkeyless.rungs, whole).version


def test_every_rung_has_words_in_every_language_and_a_picture(world: World) -> None:
    shown = world.signed_in().page("/practice/booklet")
    rungs = our_booklet().rungs
    assert len(rungs) > 300
    assert all(len(told.words) == len(LANGUAGES) for told in rungs)
    assert shown.count("<svg") == len(rungs)
    assert rungs[-1].words[1] in shown


def test_the_paper_says_what_the_page_says(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without most rungs, whose pictures take half a minute to print."""
    whole = our_booklet()
    few = booklets.Booklet(whole.texts, whole.rungs[:3], whole.tables)
    monkeypatch.setattr("rungwise.web.practice.review.booklet_of", lambda *_: few)
    got = world.signed_in().browser.get("/practice/booklet.pdf")
    assert got.headers["content-type"] == "application/pdf"
    words = " ".join(
        " ".join(sheet.extract_text() for sheet in PdfReader(io.BytesIO(got.content)).pages).split()
    )
    assert few.version in words
    for table in (*few.texts, *few.tables):
        assert table.title in words
    assert few.rungs[0].words[0].split(".")[0] in words
    # It takes long, so the next one who asks gets what was made.
    monkeypatch.setattr("rungwise.ladder.svg.png", None)
    assert world.signed_in().browser.get("/practice/booklet.pdf").content == got.content


# --- the record -----------------------------------------------------------------------------------


def test_the_page_says_so_until_a_review_is_recorded_and_again_after_a_change(world: World) -> None:
    assert "No clinician has reviewed" in page(world)
    lead = world.signed_in("lena")
    done = lead.post("/practice/review", **GOOD, version=version(world))
    assert (done.status_code, done.headers["location"]) == (303, "/practice#review")
    assert "Dr Pat Placeholder, geriatrician, reviewed the texts and tables in use" in page(world)
    assert "No clinician" not in page(world)
    change_a_text(world)
    assert "have changed since Dr Pat Placeholder" in page(world)
    lead.post("/practice/review", **GOOD, version=version(world))
    assert "have changed since" not in page(world)
    with world.store.read() as session:
        kept = session.exec(select(ClinicianReview).order_by(col(ClinicianReview.id))).all()
        lines = select(Audit).where(Audit.action == "clinician's review recorded")
        audited = [
            line.detail["version"] for line in session.exec(lines.order_by(col(Audit.number)))
        ]
    assert [one.reviewed_on for one in kept] == [date(2026, 3, 1)] * 2
    assert audited == [one.version for one in kept]
    assert len(set(audited)) == 2


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        ({"clinician": " "}, "1 to 80 characters"),
        ({"profession": ""}, "1 to 80 characters"),
        ({"reviewed_on": "2026-03-03"}, "cannot be one to come"),
        ({"reviewed_on": "yesterday"}, "Fill in the day"),
        ({"version": "0123456789ab"}, "print the booklet again"),
        ({"version": ""}, "print the booklet again"),
    ],
)
def test_a_review_that_cannot_be_is_refused(world: World, wrong: dict[str, str], told: str) -> None:
    form = {**GOOD, "version": version(world), **wrong}
    answer = world.signed_in("lena").post("/practice/review", **form)
    assert answer.status_code == 400
    assert told in answer.text
    assert "No clinician has reviewed" in page(world)


def test_only_the_lead_records_one(world: World) -> None:
    assert "/practice/review" not in page(world)
    form = {**GOOD, "version": version(world)}
    assert world.signed_in().post("/practice/review", **form).status_code == 400
    assert "No clinician has reviewed" in page(world)


@pytest.mark.parametrize("column", ["emergency_number", "crisis_line"])
def test_another_number_for_emergencies_is_another_version(world: World, column: str) -> None:
    before = version(world)
    with world.store.write() as session:
        setattr(session.get_one(Practice, 1), column, "115")
    assert re.fullmatch(r"[0-9a-f]{12}", before)
    assert version(world) != before


def test_another_name_of_the_practice_is_not(world: World) -> None:
    before = version(world)
    with world.store.write() as session:
        session.get_one(Practice, 1).name = "Quayside Balance"
    assert version(world) == before
