"""The second reader's weights, as they lie in the package: small whole numbers and their scales."""

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from rungwise.reply.second.ngrams import slots

FILE = Path(__file__).with_name("weights.npz")
# One column of weights each; "harm" is any of the four.
FAMILIES = ("fall", "pain", "dizzy", "emergency", "harm")
STEPS = 127  # of a weight, either way from nought


@dataclass(frozen=True, slots=True)
class Weights:
    """`table[slot, family]` times `scales[family]` is a weight; `threshold` is on "harm"."""

    table: NDArray[np.int8]
    scales: NDArray[np.float64]
    biases: NDArray[np.float64]
    threshold: float

    def chances(self, text: bytes) -> NDArray[np.float64]:
        """How likely each family is told of in a folded text, from 0 to 1."""
        found = slots(text)
        rows = np.fromiter(found, np.intp, len(found))
        told = self.table[rows].sum(axis=0, dtype=np.int64)
        # A long text has more of everything: as in training, its stretches share one length.
        told = told * self.scales / max(1, len(found)) ** 0.5 + self.biases
        return np.asarray(1 / (1 + np.exp(-told)))


def packed(weights: NDArray[np.float64], biases: NDArray[np.float64], threshold: float) -> Weights:
    """Weights in whole steps of each family's largest one. `weights` is slots by families."""
    scales = np.abs(weights).max(axis=0) / STEPS
    table = np.rint(weights / np.where(scales, scales, 1)).astype(np.int8)
    return Weights(table, scales, biases, threshold)


@cache
def load() -> Weights:
    """The package's own weights, read from its file at the first call."""
    with np.load(FILE) as kept:
        return Weights(kept["table"], kept["scales"], kept["biases"], float(kept["threshold"]))
