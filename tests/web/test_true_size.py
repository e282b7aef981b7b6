"""What is printed at true size is so: rendered by another program (Poppler) and measured."""

import subprocess
from datetime import UTC, datetime

import numpy as np
import pytest
from PIL import Image
from pypdf import PdfReader
from web_world import World

from rungwise.ladder.body import Body, Equipment, Limits
from rungwise.ladder.build import build_ladder
from rungwise.web.clients.true_size import feet_pdf, tape_pdf, tape_reach

AT = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
BODY = Body(foot_length_mm=200, foot_breadth_mm=80, hip_width_mm=170)
LADDER = build_ladder(BODY, Equipment(), Limits())
DPI = 150
MM = DPI / 25.4  # an inch is 25.4 mm by definition
# ISO 216 and ANSI: A4 is 210 by 297 mm, Letter 8.5 by 11 inches.
SHEETS = {"DE": (210.0, 297.0), "US": (215.9, 279.4)}


def rendered(pdf, folder):
    """Each page as dark or not, by Poppler at DPI."""
    (folder / "sheets.pdf").write_bytes(pdf)
    command = ["pdftoppm", "-r", str(DPI), "-gray", "-png", "sheets.pdf", "page"]
    subprocess.run(command, cwd=folder, check=True, timeout=120)
    return [
        np.asarray(Image.open(one).convert("L")) < 128 for one in sorted(folder.glob("page-*.png"))
    ]


def longest_run_mm(lines):
    """The longest unbroken dark line among rows of pixels."""
    best = 0
    for line in lines:
        edges = np.flatnonzero(np.diff(np.concatenate([[0], line.astype(np.int8), [0]])))
        best = max([best, *(edges[1::2] - edges[::2])])
    return best / MM


@pytest.mark.parametrize("country", SHEETS)
@pytest.mark.parametrize(("units", "side_mm"), [("cm", 50.0), ("in", 50.8)])
def test_the_tape_measures_what_it_says(tmp_path, country, units, side_mm):
    pdf = tape_pdf(LADDER, units, country, AT)
    pages = rendered(pdf, tmp_path)
    reader = PdfReader(tmp_path / "sheets.pdf")
    assert len(pages) == len(reader.pages)
    box = reader.pages[0].mediabox
    points = (float(box.width) / 72 * 25.4, float(box.height) / 72 * 25.4)
    assert points == pytest.approx(SHEETS[country], abs=0.2)
    for number, page in enumerate(pages, start=1):
        assert f"{number} / {len(pages)}" in reader.pages[number - 1].extract_text()
        # Right of the strips, the longest line across is a side of the control square.
        square = page[:, int(128 * MM) :]
        assert longest_run_mm(square[: int(90 * MM)]) == pytest.approx(side_mm, abs=0.5)
        assert longest_run_mm(square[int(25 * MM) : int(90 * MM)].T) == pytest.approx(
            side_mm, abs=0.5
        )


@pytest.mark.parametrize(("units", "unit_mm"), [("cm", 10.0), ("in", 25.4)])
def test_the_marks_are_a_unit_apart(tmp_path, units, unit_mm):
    page = rendered(tape_pdf(LADDER, units, "DE", AT), tmp_path)[0]
    # A column through the long marks of the first strip, right of the short ones.
    column = page[:, int((16 + 11) * MM)]
    starts = np.flatnonzero(np.diff(column.astype(np.int8)) == 1)
    strip = starts[(starts / MM > 31) & (starts / MM < 272)]
    across, _ = tape_reach(LADDER, units)
    apart = np.diff(strip) / MM
    whole = apart[apart > 2]
    assert len(whole) >= min(across, 5) - 1
    assert whole == pytest.approx(np.full(len(whole), unit_mm), abs=0.35)
    assert whole.sum() == pytest.approx(len(whole) * unit_mm, abs=0.5)


def test_the_tape_reaches_every_mark_that_a_text_may_say():
    for units, unit_mm in (("cm", 10), ("in", 25.4)):
        across, ahead = tape_reach(LADDER, units)
        assert across * unit_mm >= max(rung.offset_mm for rung in LADDER.rungs) + 5
        assert ahead * unit_mm >= max(rung.step_mm for rung in LADDER.rungs) + 5


@pytest.mark.parametrize("country", SHEETS)
def test_a_foot_is_as_long_and_as_broad_as_the_client_s(tmp_path, country):
    # Both feet side by side fit one sheet of either size.
    body = Body(foot_length_mm=200, foot_breadth_mm=70, hip_width_mm=170)
    rung = build_ladder(body, Equipment(), Limits())["firm/parallel/o70/hover"]
    (page,) = rendered(feet_pdf([("Today", rung)], body, "cm", country, AT), tmp_path)
    bar = page[int(26 * MM) : int(31 * MM)]
    assert longest_run_mm(bar) == pytest.approx(100, abs=0.5)
    inside = page[int(33 * MM) : int(-24 * MM), int(17 * MM) : int(-17 * MM)]
    rows = np.flatnonzero(inside.any(axis=1))
    length = (rows.max() - rows.min()) / MM
    assert length == pytest.approx(200, abs=1.5)
    columns = np.flatnonzero(inside.any(axis=0))
    breadth = (columns.max() - columns.min()) / MM
    assert breadth == pytest.approx(2 * 70, abs=1.5)


def test_a_stance_takes_the_sheets_that_it_needs(tmp_path):
    body = Body(foot_length_mm=246, foot_breadth_mm=93, hip_width_mm=177)
    ladder = build_ladder(body, Equipment(), Limits())
    shown = [
        ("Today", ladder["firm/parallel/o177/hover"]),
        ("Next landmark", ladder["firm/tandem/hover"]),
    ]
    (tmp_path / "feet.pdf").write_bytes(feet_pdf(shown, body, "cm", "DE", AT))
    pages = PdfReader(tmp_path / "feet.pdf").pages
    # 27 cm of 17.8 and 24.6 of 24.3: 2 by 2; then 9.3 cm and 49.2: 1 by 3.
    told = [page.extract_text() for page in pages]
    assert sum("Today" in one for one in told) == 4
    assert sum("Next landmark" in one for one in told) == 3


def test_a_trainer_finds_what_to_print_and_nobody_else_does(world: World) -> None:
    browser = world.signed_in()
    at = f"/clients/{world.clients['ada']}/print"
    page = browser.page(at)
    assert "masking tape" in page
    assert "control square" in page
    for name in ("tape.pdf?units=cm", "tape.pdf?units=in", "feet.pdf"):
        assert f"{at}/{name}" in page
        answer = browser.get(f"{at}/{name}")
        assert answer.headers["content-type"] == "application/pdf"
        assert answer.content.startswith(b"%PDF")
    assert browser.get(f"{at}/tape.pdf?units=ell").status_code in (400, 422)
    stranger = world.browser().get(f"{at}/feet.pdf", follow_redirects=False)
    assert stranger.status_code in (303, 401)
