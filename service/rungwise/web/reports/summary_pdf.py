"""The progress summary as PDF, by fpdf2: two sheets for a colleague, large type for the client."""

import io
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from fpdf import FPDF, XPos, YPos
from fpdf.enums import TextEmphasis
from fpdf.fonts import FontFace, TTFFont

from rungwise.coach.reports.summary import Summary, WeekDone
from rungwise.concepts.look import COLOURS
from rungwise.ladder import svg
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
FEET_MM = (74.0, 62.0, 52.0, 42.0, 34.0, 26.0, 20.0)
COLUMN_GAP_MM = 10.0


class Paper(FPDF):
    """Sheets with our letters, a foot on each, and nothing that depends on the machine's clock."""

    def __init__(self, country: str, at: datetime, title: str, language: str, foot: str) -> None:
        super().__init__(format="letter" if country in LETTER else "a4")
        self.foot = foot
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
        self.set_font("sans", "", 6.8)
        self.set_text_color(*SOFT)
        self.multi_cell(self.epw - 14, 3.1, self.foot, new_x=XPos.RIGHT, new_y=YPos.TOP, align="L")
        self.cell(0, 3.1, f"{self.page_no()} / {{nb}}", align="R")
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
            png = io.BytesIO(svg.png(one.drawing, PICTURE_PX))
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

    The feet are drawn as large as the sheet has room beside what the trainer says.
    """
    told = for_client(summary, "light")
    for height_mm in FEET_MM:
        paper = _family_sheet(told, country, at, height_mm)
        if paper.page_no() == 1:
            break
        if height_mm != FEET_MM[-1]:
            paper.close_fonts()
    return paper.written()


def _family_sheet(told: ForClient, country: str, at: datetime, height_mm: float) -> Paper:
    paper = Paper(country, at, told.title, told.language, told.foot)
    paper.head(told.title, 20)
    paper.say(f"{told.name}. {told.period}.", 11)
    paper.double_rule()
    for line in told.practice:
        paper.say(line, 12.5, "", 0.6)
    if told.resting:
        paper.say(told.resting, 12.5, "B", 0.6)
    for line in told.told:
        paper.say(line, 11, "", 0.4)
    paper.head(told.pictures_title, 13)
    paper.rungs(told.pictures, height_mm, 10.5)
    if told.way:
        paper.head(told.way_title, 13)
        _picture(paper, told.way, paper.epw, told.way_title)
    top = paper.y
    half = (paper.epw - COLUMN_GAP_MM) / 2
    paper.head(told.days_title, 13)
    _picture(paper, told.days, half, told.days_title)
    paper.set_right_margin(paper.w - paper.l_margin - half)
    paper.say(told.days_key, 8.5)
    lowest = paper.y
    paper.set_right_margin(MARGIN_MM)
    paper.set_left_margin(MARGIN_MM + half + COLUMN_GAP_MM)
    paper.set_xy(paper.l_margin, top)
    if told.mind:
        paper.head(told.mind_title, 13)
        for line in told.mind:
            paper.say(f"–  {line}", 10.5, "", 0.3)
    if told.next:
        paper.head(told.next_title, 13)
        paper.say(told.next, 10.5)
    paper.set_left_margin(MARGIN_MM)
    paper.set_xy(MARGIN_MM, max(lowest, paper.y))
    if told.words:
        paper.head(told.words_title, 13)
        paper.say(told.words, 10.5)
    return paper


def _picture(paper: Paper, drawing: str, width_mm: float, about: str) -> None:
    paper.image(io.BytesIO(svg.png(drawing, 2 * PICTURE_PX)), w=width_mm, alt_text=about)
    paper.ln(1)
