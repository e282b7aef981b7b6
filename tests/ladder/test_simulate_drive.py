"""`rungwise simulate --drive`: a JSON line a session out, one in, errors that name the key."""

import io
import json
import subprocess
import sys
from itertools import pairwise

import pytest

from rungwise.cli import main
from rungwise.commands.ladder import as_plain
from rungwise.commands.simulate import USUAL_PROFILE
from rungwise.ladder.build import build_ladder
from rungwise.wording.rung_words import Telling

OWN = build_ladder(
    USUAL_PROFILE.body, USUAL_PROFILE.equipment, USUAL_PROFILE.limits, USUAL_PROFILE.narrowing
)
LOWEST = OWN.rungs[0]
STEADY = {"holds": [{"seconds": 20, "side": "both"}], "steadiness": "steady"}
WOBBLY = {"holds": [{"seconds": 20}, {"seconds": 20}], "steadiness": "wobbly"}


def drive(
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    told: list[object],
    *options: str,
) -> tuple[list[dict], str, int]:
    """The lines written, what was said of errors, and the exit code."""
    text = "".join(f"{one if isinstance(one, str) else json.dumps(one)}\n" for one in told)
    monkeypatch.setattr(sys, "stdin", io.StringIO(text))
    code = main(["simulate", "--drive", *options])
    output = capsys.readouterr()
    return [json.loads(line) for line in output.out.splitlines()], output.err, code


def test_the_first_line_is_exact(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    lines, err, code = drive(monkeypatch, capsys, [])
    assert (err, code) == ("", 0)
    assert lines == [
        {
            "day": 1,
            "date": "2026-01-05",
            "state": "practising",
            "rung": {**as_plain(LOWEST, OWN.measured, Telling(20)), "target_s": 20},
            "move": None,
            "reason": None,
            "alerts": [],
        }
    ]
    assert list(lines[0]) == ["day", "date", "state", "rung", "move", "reason", "alerts"]


@pytest.mark.parametrize(
    ("days", "dates"),
    [
        (1, ["05", "12", "19"]),
        (2, ["05", "08", "12"]),
        (3, ["05", "07", "09"]),
        (7, ["05", "06", "07"]),
    ],
)
def test_there_is_a_line_for_each_planned_session(
    days: int,
    dates: list[str],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    told = [STEADY, {"missed": True}]
    lines, _, _ = drive(monkeypatch, capsys, told, "--days-a-week", str(days))
    assert [line["date"] for line in lines] == [f"2026-01-{day}" for day in dates]
    assert [line["day"] for line in lines] == [1, 2, 3]
    assert [line["move"] for line in lines] == [None, "stay", None]


@pytest.mark.parametrize("rule", ["1", "2"])
def test_every_rung_can_be_started_on(
    rule: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    for rung in (OWN.rungs[3], OWN.rungs[len(OWN) // 2], OWN.rungs[-1]):
        options = ("--start", rung.key, "--rule", rule, "--open-gates")
        lines, _, code = drive(monkeypatch, capsys, [STEADY], *options)
        assert code == 0
        assert lines[0]["rung"]["key"] == rung.key


@pytest.mark.parametrize("rule", ["1", "2"])
@pytest.mark.parametrize("sign", ["fall", "pain", "dizzy"])
def test_a_sign_rests_until_the_trainer_has_cleared_it(
    rule: str, sign: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    told: list[object] = [STEADY, STEADY | {sign: True}, STEADY, {"missed": True}, {"act": "clear"}]
    lines, _, code = drive(monkeypatch, capsys, told, "--rule", rule)
    assert code == 0
    assert [line["state"] for line in lines] == [*["practising"] * 2, *["rest"] * 3, "practising"]
    kind = "dizziness" if sign == "dizzy" else sign
    assert lines[2]["alerts"] == [{"kind": kind, "urgency": "urgent"}]
    assert lines[2]["move"] == "rest"
    before = OWN.index(lines[1]["rung"]["key"])
    assert OWN.index(lines[-1]["rung"]["key"]) <= before


def test_steady_days_lead_up_and_each_move_has_its_reason(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    lines, _, _ = drive(monkeypatch, capsys, [STEADY] * 12, "--open-gates")
    assert {line["move"] for line in lines[1:]} == {"up", "stay"}
    for earlier, later in pairwise(lines):
        moved = OWN.index(later["rung"]["key"]) - OWN.index(earlier["rung"]["key"])
        assert (moved > 0) == (later["move"] == "up")
        assert later["reason"]


def test_at_a_closed_gate_the_trainer_is_told_once(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    below = next(OWN.below(rung.key) for rung in OWN.rungs if rung.gate)
    told: list[object] = [STEADY] * 8
    lines, _, _ = drive(monkeypatch, capsys, told, "--start", below.key)
    assert {line["rung"]["key"] for line in lines} == {below.key}
    gate = {"kind": "gate_reached", "urgency": "today"}
    assert sum(gate in line["alerts"] for line in lines) == 1


def test_long_away_rests_and_alerts(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    lines, _, _ = drive(monkeypatch, capsys, [STEADY, *[{"missed": True}] * 9])
    assert lines[-1]["state"] == "rest"
    away = {"kind": "away", "urgency": "today"}
    assert [line["move"] for line in lines if away in line["alerts"]] == ["rest"]


@pytest.mark.parametrize(
    ("line", "named"),
    [
        ("nonsense", "the line"),
        ("[1]", "the line"),
        ("{}", "the line"),
        ('{"hold": []}', "'hold'"),
        ('{"holds": {"seconds": 20}}', "holds"),
        ('{"holds": [{"seconds": "20"}]}', "seconds"),
        ('{"holds": [{"seconds": true}]}', "seconds"),
        ('{"holds": [{"seconds": NaN}]}', "seconds"),
        ('{"holds": [{"seconds": -1}]}', "seconds"),
        ('{"holds": [{"side": "left"}]}', "seconds"),
        ('{"holds": [{"seconds": 20, "foot": "left"}]}', "'foot'"),
        ('{"holds": [{"seconds": 20, "side": "middle"}]}', "side"),
        ('{"holds": [{"seconds": 20}], "steadiness": "so-so"}', "steadiness"),
        ('{"holds": [{"seconds": 20}], "steadiness_by_side": {"both": "steady"}}', "'both'"),
        ('{"holds": [{"seconds": 20}], "say": "too hard"}', "say"),
        ('{"steadiness": "steady", "say": "too easy"}', "say"),
        ('{"missed": 1}', "missed"),
        ('{"missed": true, "fall": true}', "missed"),
        ('{"fall": "yes"}', "fall"),
        ('{"act": "go on"}', "act"),
    ],
)
def test_a_wrong_line_is_named_with_its_session_and_ends_with_two(
    line: str, named: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    lines, err, code = drive(monkeypatch, capsys, [STEADY, line])
    assert (len(lines), code) == (2, 2)
    assert err.startswith("rungwise: day 2: ")
    assert named in err


def test_a_start_off_the_ladder_is_refused(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    lines, err, code = drive(monkeypatch, capsys, [], "--start", "firm/parallel/o999/hover")
    assert (lines, code) == ([], 2)
    assert "start" in err


def test_each_line_comes_before_its_answer_is_read() -> None:
    command = [sys.executable, "-m", "rungwise.cli", "simulate", "--drive"]
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as client:
        assert client.stdin is not None
        assert client.stdout is not None
        for day in (1, 2, 3):
            assert json.loads(client.stdout.readline())["day"] == day
            client.stdin.write(json.dumps(WOBBLY) + "\n")
            client.stdin.flush()
        client.stdin.close()
        client.stdout.read()
        assert client.wait(timeout=60) == 0
