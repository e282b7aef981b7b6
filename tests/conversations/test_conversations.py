"""Whole conversations by authors who had not read the reader: what was reached is held.

The unopened third was scored once; README.md says what it gave. A figure may only rise.
"""

from pathlib import Path

import pytest
from score_conversations import conversations, misses

HERE = Path(__file__).parent
# Of a hundred turns, at least so many right; and at most so many safety turns lost.
REACHED = {
    "tune_en.jsonl": (0.91, 7),
    "tune_es.jsonl": (0.92, 9),
    "tune_2_en.jsonl": (0.93, 9),
    "tune_2_es.jsonl": (0.94, 2),
    "tune_3_en.jsonl": (0.95, 5),
    "tune_3_es.jsonl": (0.96, 3),
    "tune_4_en.jsonl": (0.88, 8),
    "tune_4_es.jsonl": (0.91, 1),
    "check_2_en.jsonl": (0.88, 13),
    "check_2_es.jsonl": (0.82, 9),
}


@pytest.mark.parametrize("name", REACHED)
def test_conversations_are_heard_as_well_as_they_were(name: str) -> None:
    least, most_lost = REACHED[name]
    turns = wrong = lost = 0
    for given in conversations(HERE / name):
        found = list(misses(given))
        turns += len(given["turns"])
        wrong += len({miss.turn for miss in found})
        safety = {place for place, turn in enumerate(given["turns"]) if turn["want"].get("safety")}
        gone = {miss.turn for miss in found if miss.label in ("state", "urgency")}
        lost += len(safety & gone)
    assert 1 - wrong / turns >= least
    assert lost <= most_lost
