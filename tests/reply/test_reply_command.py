"""`rungwise read`: JSON lines in, JSON lines out."""

import io
import json
import sys
from dataclasses import fields

import pytest

from rungwise.cli import main
from rungwise.reply import Reading


def run(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], lines: str, *options: str
) -> tuple[int, str]:
    stdin = io.TextIOWrapper(io.BytesIO(lines.encode("utf-8", "surrogateescape")))
    monkeypatch.setattr(sys, "stdin", stdin)
    code = main(["read", *options])
    return code, capsys.readouterr().out


def test_each_line_is_read(monkeypatch, capsys) -> None:
    line = {"id": 7, "text": "L20 R12 wobbly", "context": {"target_s": 20, "sided": True}}
    code, out = run(monkeypatch, capsys, json.dumps(line) + "\n")
    got = json.loads(out)
    assert code == 0
    assert got["id"] == 7
    assert got["kind"] == "result"
    assert got["holds"] == [{"seconds": 20, "side": "left"}, {"seconds": 12, "side": "right"}]
    assert got["steadiness"] == "wobbly"
    assert got["because"]["steadiness"] == [{"start": 8, "end": 14, "text": "wobbly"}]
    for name in ("fall", "pain", "dizzy"):
        assert got[name] == "no"
    assert got["emergency"] is False
    assert got["body_part"] is None
    assert 0 <= got["confidence"] <= 1


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("oops", "not JSON"),
        ("[1]", "object"),
        ('{"id": 1}', "text"),
        ('{"text": "20", "context": {"target_s": 0}}', "context.target_s"),
        ('{"text": "20", "context": {"sided": "yes"}}', "context.sided"),
        ('{"text": "20", "context": {"asked": "weather"}}', "context.asked"),
        ('{"text": "20", "context": {"language": "tlh"}}', "context.language"),
        ('{"text": "20", "context": {"leads": ["up"]}}', "context.leads"),
        ('{"text": "20", "context": {"support": "a cane"}}', "context.support"),
        ('{"text": "20", "context": {"our_texts": "Stand."}}', "context.our_texts"),
        ('{"text": "20", "context": {"usual_pain": "soul"}}', "context.usual_pain"),
        ('{"text": "20", "context": {"today": "Monday"}}', "context.today"),
        ('{"text": "20", "context": {"target": 20, "side": true}}', "side, target"),
    ],
)
def test_a_bad_line_is_named_and_the_rest_is_read(monkeypatch, capsys, line, said) -> None:
    code, out = run(monkeypatch, capsys, f'{line}\n\n{{"id": 2, "text": "20"}}\n')
    first, second = (json.loads(one) for one in out.splitlines())
    assert code == 1
    assert first["line"] == 1
    assert said in first["error"]
    assert second["id"] == 2


def test_a_reading_is_explained_to_a_person(monkeypatch, capsys) -> None:
    line = {"text": "20 seconds, knee hurts", "context": {"language": "en", "asked": "result"}}
    code, out = run(monkeypatch, capsys, json.dumps(line) + "\n", "--explain")
    assert code == 0
    assert "holds: 20 s, from “20 seconds”" in out
    assert "pain: yes, from “hurts”" in out
    assert "body_part: knee" in out


def test_a_lone_surrogate_is_read(monkeypatch, capsys) -> None:
    code, out = run(monkeypatch, capsys, '{"text": "fell \\ud800 in the kitchen"}\n')
    assert code == 0
    assert json.loads(out)["fall"] == "yes"


def test_every_field_of_a_reading_is_printed(monkeypatch, capsys) -> None:
    context = {
        "support": "two_hands",
        "our_texts": ["Feet together."],
        "usual_pain": "knee",
        "today": "2026-01-05",
    }
    _, out = run(monkeypatch, capsys, json.dumps({"text": "20 steady", "context": context}))
    assert {field.name for field in fields(Reading)} <= set(json.loads(out))
