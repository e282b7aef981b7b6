"""The review booklet as PDF."""

import io
from datetime import datetime, time
from functools import lru_cache
from threading import Lock

from rungwise.coach.reports.booklet import BODY, Booklet, Table, ToldRung
from rungwise.ladder import svg
from rungwise.web.practice.booklet_view import INTRODUCTION, SIGN_HERE
from rungwise.web.reports.summary_pdf import Paper
from rungwise.wording.rung_words import rung_picture, rung_short
from rungwise.wording.texts import LANGUAGES

PICTURE_MM, PICTURE_PX = 36.0, 300
GAP_MM = 5.0
_MAKING = Lock()


def booklet_pdf(booklet: Booklet, practice: str, country: str, at: datetime) -> bytes:
    """The same as the page, on paper of the practice's country.

    Made once a day and version, by one caller at a time: it takes about 20 seconds of a processor.
    """
    with _MAKING:
        return _made(booklet, practice, country, datetime.combine(at, time(), at.tzinfo))


@lru_cache(maxsize=2)
def _made(booklet: Booklet, practice: str, country: str, at: datetime) -> bytes:
    title = "For a clinician's review"
    paper = Paper(country, at, title, "en", f"{practice}, version {booklet.version}.")
    paper.head(title, 20)
    paper.say(f"{practice}, version {booklet.version}", 12, "B")
    paper.double_rule()
    for line in INTRODUCTION:
        paper.say(line, 10.5, "", 2)
    paper.head("Reviewed by", 13)
    for field in SIGN_HERE:
        paper.say(f"{field}: ______________________________", 11, "", 4)
    paper.head("Every text to clients, and when it is sent", 15)
    for table in booklet.texts:
        _table(paper, table, (24, 38, 38))
    paper.add_page()
    paper.head("What leads to what", 15)
    for table in booklet.tables:
        _table(paper, table, (1,) * len(table.heads))
    paper.add_page()
    paper.head("Every rung in words, with its picture", 15)
    for told in booklet.rungs:
        _rung(paper, told)
    return paper.written()


def _table(paper: Paper, table: Table, widths: tuple[int, ...]) -> None:
    paper.head(table.title, 11)
    if table.note:
        paper.say(table.note, 8.5)
    paper.rows(table.heads, widths, table.rows)


def _rung(paper: Paper, told: ToldRung) -> None:
    """The picture at the left and the words beside it, never parted by the end of a sheet."""
    if paper.y + PICTURE_MM + GAP_MM > paper.page_break_trigger:
        paper.add_page()
    top, left = paper.y, paper.l_margin
    png = io.BytesIO(svg.png(rung_picture(told.rung, BODY, for_client=True), PICTURE_PX))
    paper.image(png, left, top, PICTURE_MM, PICTURE_MM, keep_aspect_ratio=True,
                alt_text=rung_short(told.rung))  # fmt: skip
    paper.set_left_margin(left + PICTURE_MM + GAP_MM)
    paper.set_xy(paper.l_margin, top)
    paper.say(rung_short(told.rung), 9, "B", 0.8)
    for language, words in zip(LANGUAGES.values(), told.words, strict=True):
        paper.say(f"{language}: {words}", 8.5, "", 0.8)
    paper.set_left_margin(left)
    paper.set_xy(left, max(paper.y, top + PICTURE_MM) + 2)
