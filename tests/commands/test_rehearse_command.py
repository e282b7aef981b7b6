"""`rungwise rehearse`: conversations in, what would be answered and decided out."""

import io
import json

import pytest

from rungwise.cli import main

FELL = {
    "id": "f1",
    "language": "en",
    "sided": False,
    "target_s": 20,
    "usual_pain": None,
    "turns": [
        {"after_min": 20, "say": "20 steady"},
        {"after_min": 5, "say": "then I nearly fell at the counter, caught myself"},
        {"after_min": 2, "say": "no"},
        {"after_min": 1440, "say": None},
    ],
}


def rehearsed(monkeypatch, capsys, *lines: str, as_json: bool = True) -> tuple[int, list[str]]:
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO("\n".join(lines).encode())))
    code = main(["rehearse", "-", *(["--json"] if as_json else [])])
    return code, capsys.readouterr().out.splitlines()


def test_each_turn_says_what_was_answered_alerted_and_decided(monkeypatch, capsys) -> None:
    code, (line,) = rehearsed(monkeypatch, capsys, json.dumps(FELL))
    told = json.loads(line)
    assert (code, told["id"]) == (0, "f1")
    result, near, answered, later = told["turns"]
    assert result["report"] == {
        "holds": [{"seconds": 20.0, "side": None}],
        "steadiness": "steady",
    }
    assert (result["state"], result["asked"]) == ("practising", None)
    assert near["alerts"] == [{"kind": "near_fall", "urgency": "today"}]
    assert (near["state"], near["move"], near["asked"]) == ("held", "rest", "fall_yes_no")
    assert len(near["answers"]) == len(answered["answers"]) == 1
    assert "911" in answered["answers"][0]
    assert later["between"] == {"answers": [], "alerts": []}
    assert later["answers"] == []


def test_what_time_alone_brings_stands_between(monkeypatch, capsys) -> None:
    talk = {"turns": [{"after_min": 5, "say": "HELP"}, {"after_min": 11, "say": None}]}
    _, (line,) = rehearsed(monkeypatch, capsys, json.dumps(talk))
    asked, waited = json.loads(line)["turns"]
    assert asked["alerts"] == [{"kind": "help", "urgency": "today"}]
    assert waited["between"]["alerts"] == [{"kind": "help", "urgency": "urgent"}]
    assert waited["alerts"] == []


@pytest.mark.parametrize(
    ("bad", "named"),
    [
        ("not json", "not JSON"),
        ("[1]", "JSON object"),
        ('{"turns": []}', "turns"),
        ('{"turns": [{"after_min": 1, "say": "x", "sya": 2}]}', "sya"),
        ('{"turns": [{"after_min": -1, "say": "x"}]}', "after_min"),
        ('{"turns": [{"after_min": 1, "say": "x"}], "langauge": "en"}', "langauge"),
        ('{"turns": [{"after_min": 1, "say": "x"}], "target_s": 200}', "target_s"),
        ('{"turns": [{"after_min": 1, "say": "x"}], "country": "ZZ"}', "country"),
    ],
)
def test_a_bad_line_is_named_and_the_others_are_rehearsed(
    monkeypatch, capsys, bad: str, named: str
) -> None:
    code, lines = rehearsed(monkeypatch, capsys, bad, json.dumps(FELL))
    wrong = json.loads(lines[0])
    assert code == 1
    assert wrong["line"] == 1
    assert named in wrong["error"]
    assert json.loads(lines[1])["id"] == "f1"


def test_a_file_is_printed_as_a_dialogue(tmp_path, capsys) -> None:
    file = tmp_path / "talk.jsonl"
    file.write_text(json.dumps(FELL) + "\n")
    assert main(["rehearse", str(file)]) == 0
    printed = capsys.readouterr().out
    assert "client: 20 steady" in printed
    assert "alert: near fall (today)" in printed
    assert "move: rest, state: held, asked: fall_yes_no" in printed


def test_both_languages_and_sides_are_rehearsed(monkeypatch, capsys) -> None:
    talk = {"language": "es", "sided": True, "turns": [{"after_min": 3, "say": "me caí"}]}
    _, (line,) = rehearsed(monkeypatch, capsys, json.dumps(talk))
    (turn,) = json.loads(line)["turns"]
    assert turn["alerts"] == [{"kind": "fall", "urgency": "urgent"}]
    assert turn["asked"] == "hurt"
    assert "SI o NO" in turn["answers"][0]
