"""A few conversations by the real HTTP path, each held against its rehearsal, on both databases.

`python tests/conversations/replayed.py` plays all of them.
"""

from itertools import islice
from pathlib import Path

import pytest
import replayed
from score_conversations import conversations

from rungwise.store import Store

pytestmark = pytest.mark.both_databases

HERE = Path(__file__).parent
# A near fall, a fall, pain, despair, wishes and STOP are among them, in both languages.
FILES = ("tune_en.jsonl", "tune_es.jsonl", "tune_2_en.jsonl", "tune_3_es.jsonl")
OF_EACH = 2


def test_http_leads_to_what_the_rehearsal_says(store: Store) -> None:
    given = [one for name in FILES for one in islice(conversations(HERE / name), OF_EACH)]
    assert list(replayed.differences(store, given)) == []


def test_what_is_rehearsed_otherwise_is_found(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    heard = replayed.heard
    given = {"id": "x", "turns": [{"after_min": 20, "say": "20 steady"}]}
    worse = {"id": "x", "turns": [{"after_min": 20, "say": "20 steady but then I fell"}]}
    monkeypatch.setattr(
        replayed,
        "heard",
        lambda _: [
            each if each.said is None else _saying(each, "20 steady") for each in heard(worse)
        ],
    )
    differ = {one.what for one in replayed.differences(store, [given])}
    assert differ == {"state", "asked", "report", "alerts", "texts"}


def _saying(each: replayed.Heard, said: str) -> replayed.Heard:
    return replayed.replace(each, said=said)
