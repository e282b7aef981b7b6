"""The progress summary as PDF, by fpdf2: two sheets for a colleague, large type for the client."""

import io
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from functools import lru_cache

from fpdf import FPDF, XPos, YPos
from fpdf.enums import TextEmphasis
from fpdf.fonts import FontFace, TTFFont

from rungwise.coach.reports.summary import Summary, WeekDone
from rungwise.concepts.look import COLOURS
from rungwise.ladder import svg
from rungwise.web.charts.family_pictures import DAYS, STAIRS
from rungwise.web.charts.holds_picture import holds_png
from rungwise.web.reports.summary_view import (
    WHAT_IT_RESTS_ON,
    ForClient,
    Picture,
    for_client,
    in_short,
    pictures,
    retest_lines,
    sign_line,
)

# Countries that print on Letter; the rest of the world prints on A4.
LETTER = frozenset({"US", "CA", "MX", "PH", "CL", "CO", "VE", "GT", "CR", "SV", "HN", "NI", "PA"})
MARGIN_MM = 16.0
INK, SOFT, RULE, PALE = (
    tuple(bytes.fromhex(COLOURS[name].print[1:])) for name in ("ink", "soft", "line", "rule")
)
PICTURE_PX = 900
LONGEST_DONE = 84
LONGEST_BESIDE = 420
DAYS_A_WEEK = 7
SHEETS = 2
# How high the feet may be on the family's sheet, the largest that leaves room for the rest.
FEET_MM = (74.0, 62.0, 52.0, 46.0, 40.0, 34.0, 26.0, 20.0)
# How much larger its letters are than 9 to 13 points. Large print is 16 to 18, clear print 12
# to 14 points: from memory.
LETTERS = (1.4, 1.3, 1.2, 1.15, 1.1, 1.0, 0.9)
FOOT_SIZE = 7.5
# Feet are drawn smaller than this only where even the smallest letters need the room.
LEAST_FEET_MM = 46.0
COLUMN_GAP_MM = 10.0


@lru_cache(maxsize=16)
def _png(drawing: str, width_px: int) -> bytes:
    """The drawing as pixels, made once for all the sizes that a sheet is tried at."""
    return svg.png(drawing, width_px)


class Paper(FPDF):
    """Sheets with our letters, a foot on each, and nothing that depends on the machine's clock."""

    foot_size = 6.8

    def __init__(
        self,
        country: str,
        at: datetime,
        title: str,
        language: str,
        foot: str,
        *,
        drawn: bool = True,
    ) -> None:
        super().__init__(format="letter" if country in LETTER else "a4")
        self.foot, self.drawn = foot, drawn
        self.set_title(title)
        self.set_lang(language)
        self.set_creator("Rungwise")
        self.set_creation_date(at)
        self.add_font("sans", "", svg.FONTS / "DejaVuSans.ttf")
        self.add_font("sans", "B", svg.FONTS / "DejaVuSans-Bold.ttf")
        self.add_font("serif", "B", svg.FONTS / "DejaVuSerif-Bold.ttf")
        self.set_margins(MARGIN_MM, MARGIN_MM - 2, MARGIN_MM)
        self.set_auto_page_break(True, MARGIN_MM + 4)
        self.set_text_color(*INK)
        self.add_page()

    def written(self) -> bytes:
        """The whole file."""
        held = bytes(self.output())
        self.close_fonts()
        return held

    def close_fonts(self) -> None:
        """The library reads letters from their files as they are needed, and leaves these open."""
        for font in self.fonts.values():
            if isinstance(font, TTFFont):
                font.ttfont.close()

    def footer(self) -> None:
        """The foot: what it rests on, and which sheet of how many."""
        self.set_y(-MARGIN_MM - 1)
        self.set_draw_color(*PALE)
        self.line(self.l_margin, self.get_y(), self.w - self.r_margin, self.get_y())
        self.set_y(self.get_y() + 1)
        self.set_font("sans", "", self.foot_size)
        self.set_text_color(*SOFT)
        line = self.foot_size * 0.456
        self.multi_cell(self.epw - 14, line, self.foot, new_x=XPos.RIGHT, new_y=YPos.TOP, align="L")
        self.cell(0, line, f"{self.page_no()} / {{nb}}", align="R")
        self.set_text_color(*INK)

    def say(self, text: str, size: float = 9.5, style: str = "", gap: float = 1.2) -> None:
        self.set_font("sans", style, size)
        self.multi_cell(0, size * 0.48, text, new_x=XPos.LMARGIN, new_y=YPos.NEXT, align="L")
        self.ln(gap)

    def head(self, text: str, size: float = 12) -> None:
        self.ln(1.2)
        self.set_font("serif", "B", size)
        self.multi_cell(0, size * 0.5, text, new_x=XPos.LMARGIN, new_y=YPos.NEXT, align="L")
        self.ln(0.8)

    def double_rule(self) -> None:
        self.set_draw_color(*RULE)
        for offset in (0.0, 0.9):
            self.line(self.l_margin, self.y + offset, self.w - self.r_margin, self.y + offset)
        self.ln(3)

    def rungs(self, shown: Sequence[Picture], height_mm: float, size: float) -> None:
        """Drawings side by side, each with its name above and its words below."""
        if not shown:
            return
        gap = 6.0
        width = (self.epw - gap * (max(len(shown), 2) - 1)) / max(len(shown), 2)
        top, lowest = self.y, self.y
        for place, one in enumerate(shown):
            left = self.l_margin + place * (width + gap)
            self.set_xy(left, top)
            self.set_font("sans", "B", size)
            self.multi_cell(
                width, size * 0.48, one.name, new_x=XPos.LEFT, new_y=YPos.NEXT, align="L"
            )
            if self.drawn:
                png = io.BytesIO(_png(one.drawing, PICTURE_PX))
                self.image(
                    png,
                    left,
                    self.y + 1,
                    width,
                    height_mm,
                    keep_aspect_ratio=True,
                    alt_text=one.caption,
                )
            self.set_xy(left, self.y + height_mm + 2)
            self.set_font("sans", "", size)
            self.multi_cell(
                width, size * 0.48, one.caption, new_x=XPos.LEFT, new_y=YPos.NEXT, align="L"
            )
            lowest = max(lowest, self.y)
        self.set_xy(self.l_margin, lowest + 1)

    def rows(
        self, heads: Sequence[str], widths: Sequence[int], rows: Sequence[Sequence[str]]
    ) -> None:
        """A plain table: a rule under its head and thin ones between the rows."""
        self.set_font("sans", "", 8)
        self.set_draw_color(*PALE)
        headings = FontFace(emphasis=TextEmphasis.B, fill_color=(255, 255, 255))
        with self.table(
            col_widths=tuple(widths),
            text_align="LEFT",
            v_align="TOP",
            borders_layout="HORIZONTAL_LINES",
            line_height=3.9,
            headings_style=headings,
            padding=(0.5, 1, 0.5, 1),
        ) as table:
            for row in (heads, *rows):
                line = table.row()
                for cell in row:
                    line.cell(cell)
        self.ln(1)


def colleague_pdf(summary: Summary, country: str, at: datetime) -> bytes:
    """Two sheets: days, the trainer's words, rungs, weeks; then holds, signs and retests.

    Older retests are left out where their findings would take a third sheet.
    """
    for retests in range(len(summary.retests), -1, -1):
        held = replace(summary, retests=summary.retests[:retests])
        paper = _two_sheets(held, country, at)
        if paper.page_no() <= SHEETS:
            break
        paper.close_fonts()
    return paper.written()


def _two_sheets(summary: Summary, country: str, at: datetime) -> Paper:
    title = f"{summary.client.name}: balance practice"
    paper = Paper(country, at, title, "en", WHAT_IT_RESTS_ON)
    paper.say(summary.practice, 9.5, "B", 0.4)
    paper.head(title, 17)
    period = f"{summary.first:%-d %b %Y} to {summary.last:%-d %b %Y}. Trainer: {summary.trainer}."
    paper.say(period, 9.5)
    paper.double_rule()
    paper.head("In short")
    for line in in_short(summary):
        paper.say(line)
    if summary.to_colleagues:
        paper.head("The trainer's words")
        paper.say(summary.to_colleagues)
    paper.head("Where the feet were")
    paper.rungs(pictures(summary, "light"), 52, 8.5)
    paper.head("Practice by week, against the plan")
    _weeks(paper, summary.weeks)
    paper.add_page()
    _second_sheet(paper, summary)
    return paper


def _weeks(paper: Paper, weeks: Sequence[WeekDone]) -> None:
    """A row a week: a box for each day planned, filled when practised, and the figures."""
    heads = ("Week from", "", "Planned", "Texts", "Practised", "Steady")
    widths = (26, 56, 22, 20, 24, 20)
    paper.set_draw_color(*PALE)
    paper.set_font("sans", "B", 8)
    for name, width in zip(heads, widths, strict=True):
        align = "L" if width in (26, 56) else "R"
        paper.cell(width, 5, name, border="B", align=align)
    paper.ln(5.4)
    for week in weeks:
        paper.set_font("sans", "B", 8)
        paper.cell(widths[0], 4.6, f"{week.monday:%-d %b %Y}")
        _boxes(paper, week)
        paper.set_font("sans", "", 8)
        paper.set_x(paper.l_margin + widths[0] + widths[1])
        counts = (week.planned, week.asked, week.practised, week.steady)
        for count, width in zip(counts, widths[2:], strict=True):
            paper.cell(width, 4.6, str(count), align="R")
        paper.ln(4.9)
    paper.set_font("sans", "", 7)
    paper.set_text_color(*SOFT)
    paper.cell(0, 4, "A box is a day planned; a filled one was practised.")
    paper.set_text_color(*INK)


def _boxes(paper: Paper, week: WeekDone) -> None:
    paper.set_draw_color(*INK)
    paper.set_fill_color(*INK)
    left, top = paper.x + 1, paper.y + 0.7
    for place in range(DAYS_A_WEEK):
        if place < week.practised:
            paper.rect(left + place * 6.4, top, 5.2, 3.1, style="FD")
        elif place < week.planned:
            paper.rect(left + place * 6.4, top, 5.2, 3.1, style="D")
    paper.set_draw_color(*PALE)
    paper.set_fill_color(255, 255, 255)


def _second_sheet(paper: Paper, summary: Summary) -> None:
    paper.head("Seconds held")
    chart = io.BytesIO(holds_png(summary.held))
    about = "Seconds held by side over these weeks, with moves and alerts."
    paper.image(chart, x=paper.l_margin, w=paper.epw * 0.94, alt_text=about)
    paper.head("Falls, pain and dizziness told")
    if summary.signs:
        rows = [sign_line(sign) for sign in summary.signs]
        shown = [(day, kind, _cut(done, LONGEST_DONE)) for day, kind, done in rows]
        paper.rows(("Date", "What", "What was done"), (12, 18, 70), shown)
        if summary.more_signs:
            paper.say(f"And {summary.more_signs} earlier.", 8)
    else:
        paper.say("None was told in these weeks.")
    paper.head("Retests beside published figures")
    if summary.retests:
        lines = retest_lines(summary.retests)
        table = [
            (
                one.when,
                one.test,
                one.result,
                _cut("\n".join(one.beside), LONGEST_BESIDE),
            )
            for one in lines
        ]
        paper.rows(("Date", "Test", "Result", "Beside it"), (11, 18, 16, 55), table)
    else:
        paper.say("No retest has been recorded.")


def _cut(text: str, most: int) -> str:
    return text if len(text) <= most else text[: most - 1].rstrip() + "…"


def client_pdf(summary: Summary, country: str, at: datetime) -> bytes:
    """One sheet for the fridge, in plain words and the client's language.

    Letters first, then the feet, are as large as the sheet has room beside what the trainer says.
    """
    told = for_client(summary, "light")
    sizes = [
        (scale, height_mm)
        for scale in LETTERS
        for height_mm in FEET_MM
        if height_mm >= LEAST_FEET_MM or scale == LETTERS[-1]
    ]
    fits = (size for size in sizes[:-1] if _fits(told, country, at, *size))
    return _family_sheet(told, country, at, *next(fits, sizes[-1])).written()


def _fits(told: ForClient, country: str, at: datetime, scale: float, height_mm: float) -> bool:
    """Whether all of it has room on one sheet; its pictures only take their room."""
    paper = _family_sheet(told, country, at, scale, height_mm, drawn=False)
    paper.close_fonts()
    return paper.page_no() == 1


def _family_sheet(
    told: ForClient,
    country: str,
    at: datetime,
    scale: float,
    height_mm: float,
    *,
    drawn: bool = True,
) -> Paper:
    small, plain, large, heading = (scale * size for size in (9, 10.5, 12.5, 13))
    paper = Paper(country, at, told.title, told.language, told.foot, drawn=drawn)
    paper.foot_size = FOOT_SIZE * scale
    paper.head(told.title, 20)
    paper.say(f"{told.name}. {told.period}.", plain)
    paper.double_rule()
    for line in told.practice:
        paper.say(line, large, "", 0.6)
    if told.resting:
        paper.say(told.resting, large, "B", 0.6)
    for line in told.told:
        paper.say(line, plain, "", 0.4)
    paper.head(told.pictures_title, heading)
    paper.rungs(told.pictures, height_mm, plain)
    if told.way:
        paper.head(told.way_title, heading)
        _picture(paper, told.way, STAIRS, paper.epw, told.way_title)
    top = paper.y
    half = (paper.epw - COLUMN_GAP_MM) / 2
    paper.head(told.days_title, heading)
    _picture(paper, told.days, DAYS, half, told.days_title)
    paper.set_right_margin(paper.w - paper.l_margin - half)
    paper.say(told.days_key, small)
    lowest = paper.y
    paper.set_right_margin(MARGIN_MM)
    paper.set_left_margin(MARGIN_MM + half + COLUMN_GAP_MM)
    paper.set_xy(paper.l_margin, top)
    if told.mind:
        paper.head(told.mind_title, heading)
        for line in told.mind:
            paper.say(f"–  {line}", plain, "", 0.3)
    if told.next:
        paper.head(told.next_title, heading)
        paper.say(told.next, plain)
    paper.set_left_margin(MARGIN_MM)
    paper.set_xy(MARGIN_MM, max(lowest, paper.y))
    if told.words:
        paper.head(told.words_title, heading)
        paper.say(told.words, plain)
    return paper


def _picture(
    paper: Paper, drawing: str, shape: tuple[float, float], width_mm: float, about: str
) -> None:
    height_mm = width_mm * shape[1] / shape[0]
    if paper.drawn:
        png = io.BytesIO(_png(drawing, 2 * PICTURE_PX))
        paper.image(png, w=width_mm, h=height_mm, alt_text=about)
    else:
        if paper.y + height_mm > paper.page_break_trigger:
            paper.add_page()
        paper.set_y(paper.y + height_mm)
    paper.ln(1)
