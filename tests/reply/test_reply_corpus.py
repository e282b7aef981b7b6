"""How well whole corpora are read: what the reader promises, on what it was and wasn't tuned on."""

from pathlib import Path

import pytest
from score import CORPUS, SAFETY, load, report, score

FILES = sorted(CORPUS.glob("*.jsonl"))
LEAST = {"kind": 0.97, "holds": 0.97, "steadiness": 0.97}


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_a_corpus_is_read_well(path: Path) -> None:
    result = score(load(path))
    said = report(path.name, result)
    for name, least in LEAST.items():
        assert result.share(name) >= least, said
    assert result.recall == 1.0, said
    assert result.recall_yes >= 0.97, said
    assert result.false_share("yes") <= 0.01, said
    assert result.false_share("unsure") <= 0.03, said


def test_there_are_enough_replies_and_half_are_kept_apart() -> None:
    sizes = {path.stem: len(load(path)) for path in FILES}
    check = sum(size for name, size in sizes.items() if name.startswith("check"))
    tune = sum(size for name, size in sizes.items() if name.startswith("tune"))
    assert check >= 400
    assert tune >= 420
    assert sizes["tune_es"] >= 90


def test_no_text_stands_in_two_files() -> None:
    seen: dict[str, str] = {}
    for path in FILES:
        for line in load(path):
            key = f"{line['text']}|{line['context'].get('asked')}"
            if path.stem.startswith("tune"):
                assert key not in seen, key
            seen[key] = path.stem


def test_the_report_counts_what_was_missed() -> None:
    lines = [
        {
            "text": "fell in the kitchen",
            "context": {},
            "want": {
                "kind": "result",
                "holds": [],
                "steadiness": None,
                "fall": "no",
                "pain": "yes",
                "dizzy": "no",
                "emergency": False,
            },
        }
    ]
    result = score(lines)
    assert result.share("kind") == 0.0
    assert result.recall == 0.0
    assert result.false_share("yes") == 1.0
    assert result.kinds["result", "safety_only"] == 1
    assert set(SAFETY) == set(result.safety)
    assert "missed  1" in report("one line", result)
