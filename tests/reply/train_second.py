"""Trains the second reader's weights from the corpora: `python tests/reply/train_second.py`.

The same corpora give the same weights. Trained on tune_*.jsonl, on texts sent while no question
about safety was open, and on the talk of everyday life in chat/; check*.jsonl are kept apart. Run
it, and second_figures.py, after any change of the corpora.
"""

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix
from sklearn.linear_model import LogisticRegression

from rungwise.reply.plain import plain
from rungwise.reply.second.doubt import ABOUT_SAFETY
from rungwise.reply.second.ngrams import SLOTS, folded, slots
from rungwise.reply.second.weights import FAMILIES, FILE, Weights, packed

CORPUS = Path(__file__).parent / "corpus"
# A line is what a text tells of and the text: `calm`, `fall`, `pain`, `dizzy` or `emergency`.
CHAT = Path(__file__).parent / "chat"
# A text is doubted from this chance of harm on: see the table in docs/reading-replies.md.
THRESHOLD = 0.2
# How closely the weights follow the corpora. On sets held out 3 and 10 did worse; 100 and 300 ask
# as much for as much heard.
FOLLOW = 30.0
_SIGNS = ("fall", "pain", "dizzy")


@dataclass(frozen=True)
class Text:
    """A labelled text: `author` is the set it was composed in, English and Spanish by one hand."""

    line: dict[str, Any]
    author: str
    said: bytes

    @property
    def families(self) -> list[bool]:
        """Which of FAMILIES are told of, for sure or perhaps."""
        want = self.line["want"]
        told = [want[sign] != "no" for sign in _SIGNS] + [bool(want["emergency"])]
        return [*told, any(told)]


def texts(pattern: str = "*.jsonl") -> list[Text]:
    """The corpora's texts on which the second reader would run, whatever they say."""
    found = []
    for path in sorted(CORPUS.glob(pattern)):
        author = path.stem.replace("_en", "").replace("_es", "")
        for row in path.read_text(encoding="utf-8").splitlines():
            line = json.loads(row)
            if (line.get("context") or {}).get("asked", "result") not in ABOUT_SAFETY:
                found.append(Text(line, author, folded(plain(line["text"]))))
    return found


def chat() -> list[Text]:
    """Texts that are no replies: errands, weather, jokes, news; and harm told in the same tone."""
    found = []
    for path in sorted(CHAT.glob("*.txt")):
        for row in path.read_text(encoding="utf-8").splitlines():
            tells, text = row.split(" | ", 1)
            want = {sign: "unsure" if sign == tells else "no" for sign in _SIGNS}
            line = {"text": text, "want": {**want, "emergency": tells == "emergency"}}
            found.append(Text(line, "chat", folded(plain(text))))
    return found


def matrix(of: Sequence[Text]) -> csr_matrix:
    """Texts by slots: 1 for each stretch, over the root of how many the text has."""
    rows = [sorted(slots(text.said)) for text in of]
    lengths = np.array([len(row) for row in rows])
    ends = np.concatenate([[0], lengths.cumsum()])
    values = np.repeat(1 / np.sqrt(np.maximum(1, lengths)), lengths)
    return csr_matrix((values, np.concatenate(rows), ends), shape=(len(rows), SLOTS))


def rarity(said: csr_matrix) -> NDArray[np.float64]:
    """How much each slot counts: a stretch that most texts have says little."""
    met = np.bincount(said.indices, minlength=SLOTS)
    return np.log((1 + said.shape[0]) / (1 + met)) / 4


def fit(said: csr_matrix, told: NDArray[np.bool_], families: Sequence[int]) -> Weights:
    """One logistic regression a family, its rarities taken into the weights."""
    rare = rarity(said)
    scaled = said.multiply(rare).tocsr()
    weights, biases = np.zeros((SLOTS, len(FAMILIES))), np.zeros(len(FAMILIES))
    for family in families:
        model = LogisticRegression(C=FOLLOW, solver="liblinear", tol=1e-3, random_state=0)
        model.fit(scaled, told[:, family])
        weights[:, family] = model.coef_[0] * rare
        biases[family] = model.intercept_[0]
    return packed(weights, biases, THRESHOLD)


def train() -> Weights:
    learnt = [*texts("tune_*.jsonl"), *chat()]
    told = np.array([text.families for text in learnt])
    return fit(matrix(learnt), told, range(len(FAMILIES)))


if __name__ == "__main__":
    np.savez_compressed(FILE, **asdict(train()))
