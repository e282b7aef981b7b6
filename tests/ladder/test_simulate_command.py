"""`rungwise simulate` from the outside."""

import json
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import pytest

from rungwise.cli import main

SHORT = ["simulate", "--days", "40", "--clients", "2"]


def table(text: str) -> dict[str, list[str]]:
    """First column to the rest, split where two spaces or more stand."""
    rows = [[cell for cell in line.split("  ") if cell] for line in text.splitlines() if line]
    return {row[0].strip(): [cell.strip() for cell in row[1:]] for row in rows}


def test_the_table_has_a_column_for_each_preset(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(SHORT) == 0
    found = table(capsys.readouterr().out)
    assert found["setting"] == ["gentle", "usual", "keen"]
    for name in ("steady days", "wobbly days a month", "risky moves a year", "backs a year"):
        assert len(found[name]) == 3


def test_json_is_one_object_and_nothing_else(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([*SHORT, "--preset", "gentle", "--json"]) == 0
    output = capsys.readouterr()
    (setting,) = json.loads(output.out)["settings"]
    assert (setting["setting"], setting["clients"], setting["days"]) == ("gentle", 2, 80)
    assert 0 <= setting["steady_share"] <= 1
    assert output.err == ""  # no progress bar where nobody watches


def test_published_rules_stand_beside_the_calculated_level(
    capsys: pytest.CaptureFixture[str],
) -> None:
    arguments = ["--still", "--published", "1", "2", "--spacing", "0.1", "--start-place", "0.5"]
    assert main(["simulate", "--days", "4000", "--clients", "1", "--json", *arguments]) == 0
    one, two = json.loads(capsys.readouterr().out)["settings"]
    for setting, level in ((one, 0.5), (two, 0.7071)):
        assert setting["exact_steady_share"] == pytest.approx(level, abs=0.01)
        assert setting["steady_share"] == pytest.approx(level, abs=0.05)


def test_settings_are_arguments(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([*SHORT, "--json", "--steady-days-step", "9", "--steady-days-landmark", "9"]) == 0
    (slow,) = json.loads(capsys.readouterr().out)["settings"]
    assert slow["setting"] == "usual, changed"
    assert main([*SHORT, "--json", "--preset", "usual"]) == 0
    (usual,) = json.loads(capsys.readouterr().out)["settings"]
    assert slow["ups_year"] < usual["ups_year"]


def test_a_changed_world_and_seed_change_the_run(capsys: pytest.CaptureFixture[str]) -> None:
    outputs = []
    for more in ([], [], ["--seed", "2"], ["--practice-gain", "0.2"], ["--missed-chance", "0.5"]):
        assert main([*SHORT, "--json", "--preset", "usual", *more]) == 0
        outputs.append(capsys.readouterr().out)
    assert outputs[0] == outputs[1]
    assert len(set(outputs)) == 4


def test_a_profile_gives_the_ladder(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    profile = tmp_path / "profile.json"
    body = {"foot_length_mm": 246, "foot_breadth_mm": 93, "hip_width_mm": 175}
    limits = {"ceiling_key": "firm/tandem/hover"}
    profile.write_text(json.dumps({"body": body, "limits": limits}), encoding="utf-8")
    assert main([*SHORT, "--json", "--preset", "keen", "--profile", str(profile)]) == 0
    (setting,) = json.loads(capsys.readouterr().out)["settings"]
    assert list(setting["landmarks"])[-1] == "firm tandem"


@pytest.mark.parametrize("kind", ["svg", "png"])
def test_the_picture_is_drawn_and_the_same_each_time(
    kind: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    files = [tmp_path / f"{number}.{kind}" for number in (1, 2)]
    for file in files:
        assert main([*SHORT, "--picture", str(file)]) == 0
    first, second = (file.read_bytes() for file in files)
    assert first == second
    if kind == "svg":
        words = "".join(ElementTree.fromstring(first).itertext())
        assert "Risky moves a year" in words
        assert "gentle" in words
    else:
        assert first.startswith(b"\x89PNG")


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--days", "1"], "days is 1; it must be a whole number from 2 to 100000."),
        (["--clients", "0"], "clients is 0"),
        (["--seed", "-1"], "seed is -1"),
        (["--spacing", "0"], "spacing is 0.0; it must be a number of logits"),
        (["--spread", "0"], "spread is 0.0"),
        (["--back-days", "4"], "back_days is 4; it must be at most back_window_days (3)"),
        (["--picture", "a.pdf"], "ending in .svg or .png"),
        (["--profile", "/nowhere/profile.json"], "can't be read"),
        (["--published", "0"], "steady_days_step is 0"),
    ],
)
def test_impossible_arguments_are_named(
    arguments: list[str], message: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["simulate", *arguments]) == 2
    assert message in capsys.readouterr().err


def test_the_presets_help_and_a_wrong_preset() -> None:
    ran = subprocess.run(
        [sys.executable, "-m", "rungwise.cli", "simulate", "--help"],
        capture_output=True,
        text=True,
        check=True,
    )
    assert "--steady-days-step" in ran.stdout
    with pytest.raises(SystemExit) as refused:
        main(["simulate", "--preset", "reckless"])
    assert refused.value.code == 2
