"""`rungwise ladder`."""

import io
import json

import pytest
from ladder_cases import FULL_HOME, MEAN_WOMAN

from rungwise.cli import main
from rungwise.commands.ladder import print_ladder
from rungwise.ladder import Limits, Profile, build_ladder

PROFILE = {
    "body": {"height_mm": 1640, "sex": "female", "weaker": "right"},
    "equipment": {"mat_layers": 2, "half_foam_cut": True},
    "limits": {"ceiling_key": "mat1/parallel/o177/hover"},
    "target_s": 15,
}
FIELDS = [
    "key",
    "stance",
    "offset_mm",
    "step_mm",
    "surface",
    "layers",
    "orientation",
    "under",
    "support",
    "task",
    "lead",
    "gate",
    "landmark",
    "demand",
    "client_text",
]


@pytest.fixture
def profile_file(tmp_path):
    file = tmp_path / "profile.json"
    file.write_text(json.dumps(PROFILE), encoding="utf-8")
    return str(file)


def test_json_has_one_object_a_rung_with_the_documented_fields(profile_file, capsys):
    assert main(["ladder", "--profile", profile_file, "--json"]) == 0
    rungs = json.loads(capsys.readouterr().out)
    assert all(list(rung) == FIELDS for rung in rungs)
    assert rungs[0]["client_text"].endswith("Hold 15 seconds.")
    assert rungs[-1] == {
        "key": "mat1/parallel/o177/hover",
        "stance": "parallel",
        "offset_mm": 177,
        "step_mm": 0,
        "surface": "mat",
        "layers": 1,
        "orientation": None,
        "under": "both",
        "support": "hover",
        "task": None,
        "lead": [],
        "gate": None,
        "landmark": "feet_apart",
        "demand": 5.0,
        "client_text": "On the mat. Feet side by side, as wide as your hips. "
        "Hands just above the counter. Hold 15 seconds.",
    }
    tandem = next(rung for rung in rungs if rung["landmark"] == "tandem")
    assert tandem["lead"] == ["right", "left"]
    assert [rung["gate"] for rung in rungs if rung["gate"]] == ["single_leg", "first_soft"]


def test_the_table_is_aligned_and_has_every_rung(profile_file, capsys):
    assert main(["ladder", "--profile", profile_file]) == 0
    head, *lines, guess = capsys.readouterr().out.splitlines()
    assert guess == "The body is a guess from height and sex: measure the client."
    assert len({line.index("firm/") for line in lines if "firm/" in line}) == 1
    assert head.index("key") == lines[0].index("firm/")
    assert [int(line.split()[0]) for line in lines] == list(range(1, len(lines) + 1))
    assert any("gate single_leg" in line for line in lines)
    assert not any(line.endswith(" ") for line in [head, *lines])


def test_it_can_be_read_in_another_language(profile_file, capsys):
    assert main(["ladder", "--profile", profile_file, "--json", "--language", "es"]) == 0
    rungs = json.loads(capsys.readouterr().out)
    assert "Pies a la anchura" in rungs[0]["client_text"]


def test_a_ladder_from_elsewhere_is_printed_the_same_way():
    out = io.StringIO()
    ladder = build_ladder(MEAN_WOMAN, FULL_HOME, Limits())
    print_ladder(ladder, Profile(MEAN_WOMAN, FULL_HOME), True, out)
    assert [rung["key"] for rung in json.loads(out.getvalue())] == [r.key for r in ladder.rungs]


def test_a_profile_can_come_from_standard_input(monkeypatch, capsys):
    monkeypatch.setattr("sys.stdin", io.StringIO(json.dumps(PROFILE)))
    assert main(["ladder", "--profile", "-", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)


@pytest.mark.parametrize(
    ("written", "says"),
    [
        (b'{"body": ', "JSON"),
        (b"[]", "a JSON object"),
        (b"\xff\xfe", "UTF-8"),
        (b'{"body": {"height_mm": 99, "sex": "male"}}', "height_mm is 99"),
        (
            b'{"body": {"height_mm": 1700, "sex": "male"}, "equipment": {"firm_floor": false}}',
            "firm_floor is False",
        ),
    ],
)
def test_a_wrong_file_says_what_is_wrong_and_exits_2(tmp_path, capsys, written, says):
    file = tmp_path / "profile.json"
    file.write_bytes(written)
    assert main(["ladder", "--profile", str(file)]) == 2
    told = capsys.readouterr()
    assert says in told.err
    assert told.out == ""


def test_a_missing_file_exits_2(tmp_path, capsys):
    assert main(["ladder", "--profile", str(tmp_path / "none.json")]) == 2
    assert "can't be read" in capsys.readouterr().err
