"""How well whole corpora are read: what the reader promises, on what it was and wasn't tuned on."""

from pathlib import Path

import pytest
from score import CORPUS, SAFETY, load, report, score

FILES = sorted(CORPUS.glob("*.jsonl"))
TUNED = [path for path in FILES if path.stem.startswith("tune")]
KEPT = [path for path in FILES if path.stem.startswith("check")]
LEAST = {"kind": 0.97, "holds": 0.97, "steadiness": 0.97}


@pytest.mark.parametrize("path", TUNED, ids=lambda path: path.stem)
def test_a_corpus_is_read_well(path: Path) -> None:
    read_well(path.name, load(path))


def test_texts_that_no_rule_was_written_for_are_read_well() -> None:
    read_well("check", [line for path in KEPT for line in load(path)])


def read_well(name_of_it: str, lines: list[dict[str, object]]) -> None:
    result = score(lines)
    said = report(name_of_it, result)
    figures = {
        **{name: result.share(name) >= least for name, least in LEAST.items()},
        "every true report is yes or unsure": result.recall == 1.0,
        "true reports are yes": result.recall_yes >= 0.97,
        "few false yes": result.false_share("yes") <= 0.01,
        "few false unsure": result.false_share("unsure") <= 0.03,
    }
    # Only figures are printed: nobody who writes rules should see a check file's texts.
    assert [name for name, good in figures.items() if not good] == [], said


def test_there_are_enough_replies_and_half_are_kept_apart() -> None:
    sizes = {path.stem: len(load(path)) for path in FILES}
    check = sum(size for name, size in sizes.items() if name.startswith("check"))
    tune = sum(size for name, size in sizes.items() if name.startswith("tune"))
    assert check >= 400
    assert tune >= 420
    assert sizes["tune_es"] >= 90


def test_no_check_text_is_tuned_on() -> None:
    """What both sets hold is taken out of the check set; only stock phrases may stand in both."""
    tuned: set[str] = set()
    kept: set[str] = set()
    for path in FILES:
        texts = {line["text"] for line in load(path) if len(line["text"].split()) > 3}
        (tuned if path.stem.startswith("tune") else kept).update(texts)
    assert tuned & kept == set()


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
