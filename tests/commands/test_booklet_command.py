"""`rungwise booklet`: the clinician's booklet as PDF and as a page that needs no network."""

import re
from pathlib import Path

import pytest
from pypdf import PdfReader

from rungwise.cli import main
from rungwise.coach.reports import booklet as booklets


def test_the_booklet_is_written_as_paper_and_as_a_page(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Without most rungs, whose pictures take half a minute to print."""
    whole = booklets.our_booklet()
    few = booklets.Booklet(whole.texts, whole.rungs[:2], whole.tables)
    monkeypatch.setattr("rungwise.commands.booklet.our_booklet", lambda: few)
    assert main(["booklet", str(tmp_path / "new")]) == 0
    assert few.version in capsys.readouterr().out
    page = (tmp_path / "new/booklet.html").read_text(encoding="utf-8")
    assert few.version in page
    assert few.rungs[0].words[1] in page
    assert re.findall(r'(?:src|href)="(?!#)[^"]*"', page) == []
    paper = PdfReader(tmp_path / "new/booklet.pdf")
    assert few.version in paper.pages[0].extract_text()


def test_a_practice_that_is_not_there_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("RUNGWISE_DATABASE_URL", f"sqlite:///{tmp_path / 'empty.sqlite3'}")
    assert main(["migrate"]) == 0
    assert main(["booklet", str(tmp_path), "--practice", "7"]) == 2
    assert "no practice with the number 7" in capsys.readouterr().err
