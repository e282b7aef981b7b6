"""`rungwise segments`."""

import io
import json
import subprocess
import sys

import pytest

from rungwise.cli import main


def run_json(capsys: pytest.CaptureFixture[str], *words: str) -> dict[str, object]:
    assert main(["segments", *words, "--json"]) == 0
    return json.loads(capsys.readouterr().out)  # type: ignore[no-any-return]


def test_a_gsm7_text_is_counted_in_septets(capsys: pytest.CaptureFixture[str]) -> None:
    text = "a" * 159 + "€"
    assert run_json(capsys, text) == {
        "encoding": "GSM-7",
        "units": 161,
        "septets": 161,
        "segments": 2,
        "parts": ["a" * 153, "aaaaaa€"],
        "part_units": [153, 8],
    }


def test_a_ucs2_text_has_no_septets(capsys: pytest.CaptureFixture[str]) -> None:
    counted = run_json(capsys, "Don’t hold")
    assert counted["encoding"] == "UCS-2"
    assert counted["septets"] is None
    assert (counted["units"], counted["segments"]) == (10, 1)


def test_a_person_sees_the_parts(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["segments", "a" * 160 + "b"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == "GSM-7: 161 septets, 2 segments"
    assert lines[1].split() == ["1", "153", "septets", "a" * 153]
    assert lines[2].split() == ["2", "8", "septets", "aaaaaaab"]


def test_a_text_no_phone_can_join_says_so(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["segments", "a" * 153 * 256]) == 1
    assert capsys.readouterr().out.endswith("at most 255 segments: shorten the text.\n")


def test_a_dash_reads_standard_input(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    typed = io.TextIOWrapper(io.BytesIO("café\xff\n".encode("latin-1")))
    monkeypatch.setattr(sys, "stdin", typed)
    counted = run_json(capsys, "-")
    assert counted["parts"] == ["caf\ufffd\ufffd"]


def test_bytes_that_are_no_text_do_not_break_it() -> None:
    # A shell hands an odd byte over as a lone surrogate.
    program = "import sys; from rungwise.cli import main; sys.exit(main(['segments', '\\udcff']))"
    ran = subprocess.run([sys.executable, "-c", program], capture_output=True, check=False)
    assert (ran.returncode, ran.stderr) == (0, b"")
    assert ran.stdout.startswith(b"UCS-2: 1 ")
