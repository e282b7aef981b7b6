"""What the lists read right stays so: each agreed text's falls, pain, dizziness and emergencies.

The shares in test_reply_corpus.py leave room for a text or two; what may hurt somebody has none.
"""

import json
from pathlib import Path

import pytest

from rungwise.reply import read
from rungwise.reply.lines import as_json, context_from

FILES = sorted((Path(__file__).parent / "corpus").glob("tune_*.jsonl"))
FIELDS = ("fall", "pain", "dizzy", "emergency")
# Read otherwise than agreed, each on the side of asking. Take a line out when it is read right.
ASKED_ABOUT = {
    "Frank fell on the ice last week, you remember Frank",
    "my mother used to have dizzy spells all her life, not me. 11",
    "Sat down on the floor by accident when my legs gave way",
    "Bob next door collapsed, ambulance been, all sorted. Not done mine",
    "Overbalanced on the left at 8, right 20 fine",
    "7 seg me fui de lado",
}


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_every_agreed_safety_reading_holds(file: Path) -> None:
    wrong = []
    for line in file.read_text(encoding="utf-8").splitlines():
        told = json.loads(line)
        context = context_from(told.get("context") or {})
        got = as_json(told["text"], read(told["text"], context, second=False))
        differs = {
            name: (told["want"][name], got[name])
            for name in FIELDS
            if told["want"][name] != got[name]
        }
        if differs and told["text"] not in ASKED_ABOUT:
            wrong.append((told["text"], differs))
    assert wrong == []


@pytest.mark.parametrize("text", sorted(ASKED_ABOUT))
def test_what_is_read_otherwise_is_asked_about_and_not_passed_over(text: str) -> None:
    reading = read(text, context_from({}))
    assert "unsure" in (reading.fall, reading.pain, reading.dizzy) or reading.emergency
