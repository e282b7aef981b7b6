"""How well the reader reads a corpus: `python tests/reply/score.py [--worst N] [files]`.

Exact by field, safety recall and false alarms, confusion by kind, confidence by exactness. Never
use --worst on a check file: rules are not tuned on it.
"""

import argparse
import json
import sys
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from rungwise.reply import read
from rungwise.reply.lines import as_json, context_from

CORPUS = Path(__file__).parent / "corpus"
FIELDS = ("kind", "holds", "steadiness", "fall", "pain", "dizzy", "emergency")
SOMETIMES = (
    "steadiness_by_side",
    "body_part",
    "yes_no",
    "pain_score",
    "correction",
    "same_as_before",
    "effort",
)
SAFETY = ("fall", "pain", "dizzy", "emergency")


@dataclass
class Score:
    """Counts over one or more corpora."""

    lines: int = 0
    exact: Counter[str] = field(default_factory=Counter)
    asked: Counter[str] = field(default_factory=Counter)
    whole: int = 0
    safety: dict[str, Counter[tuple[str, str]]] = field(default_factory=dict)
    kinds: Counter[tuple[str, str]] = field(default_factory=Counter)
    confident: Counter[tuple[int, bool]] = field(default_factory=Counter)
    wrong: list[tuple[float, str, dict[str, Any]]] = field(default_factory=list)

    def share(self, name: str) -> float:
        return self.exact[name] / self.asked[name] if self.asked[name] else 1.0

    def count(self, name: str, wanted: Iterable[str], got: Iterable[str]) -> int:
        return sum(self.safety[name][w, g] for w in wanted for g in got)

    def total(self, wanted: Iterable[str], got: Iterable[str]) -> int:
        wanted, got = tuple(wanted), tuple(got)
        return sum(self.count(name, wanted, got) for name in SAFETY)

    @property
    def recall(self) -> float:
        """True reports read as yes or unsure."""
        true = self.total(["yes"], ["yes", "unsure", "no"])
        return self.total(["yes"], ["yes", "unsure"]) / true if true else 1.0

    @property
    def recall_yes(self) -> float:
        true = self.total(["yes"], ["yes", "unsure", "no"])
        return self.total(["yes"], ["yes"]) / true if true else 1.0

    def false_share(self, got: str, unasked: tuple[str, ...] = SAFETY) -> float:
        """Share of a field's replies that report nothing and are read as `got`: the worst field."""
        shares = []
        for name in unasked:
            none = self.count(name, ["no"], ["yes", "unsure", "no"])
            shares.append(self.count(name, ["no"], [got]) / none if none else 0.0)
        return max(shares)


def _answer(value: object) -> str:
    return {True: "yes", False: "no"}.get(value, value) if isinstance(value, bool) else str(value)


def score(lines: Iterable[dict[str, Any]]) -> Score:
    result = Score(safety={name: Counter() for name in SAFETY})
    for line in lines:
        want = line["want"]
        got = as_json(line["text"], read(line["text"], context_from(line.get("context") or {})))
        result.lines += 1
        missed = {}
        for name in (*FIELDS, *(n for n in SOMETIMES if n in want)):
            result.asked[name] += 1
            if got[name] == want[name]:
                result.exact[name] += 1
            else:
                missed[name] = {"want": want[name], "got": got[name]}
        result.whole += not missed
        result.kinds[want["kind"], got["kind"]] += 1
        for name in SAFETY:
            result.safety[name][_answer(want[name]), _answer(got[name])] += 1
        result.confident[int(got["confidence"] * 10), not missed] += 1
        if missed:
            result.wrong.append((-len(missed), line["text"], missed))
    return result


def load(path: Path) -> list[dict[str, Any]]:
    return [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines() if line]


def report(name: str, result: Score) -> str:
    out = [f"{name}: {result.lines} replies, {result.whole} exact in every field"]
    for field_name in (*FIELDS, *SOMETIMES):
        if result.asked[field_name]:
            right, of = result.exact[field_name], result.asked[field_name]
            out.append(f"  {field_name:20} {right:4}/{of:<4} {100 * right / of:6.2f}%")
    out.append(
        f"  true reports: yes or unsure {100 * result.recall:.2f}%,"
        f" yes {100 * result.recall_yes:.2f}%"
    )
    for name_ in SAFETY:
        true = result.count(name_, ["yes"], ["yes", "unsure", "no"])
        none = result.count(name_, ["no"], ["yes", "unsure", "no"])
        out.append(
            f"  {name_:10} true {true:3}: yes {result.count(name_, ['yes'], ['yes']):3},"
            f" unsure {result.count(name_, ['yes'], ['unsure']):2},"
            f" missed {result.count(name_, ['yes'], ['no']):2};"
            f" doubtful {result.count(name_, ['unsure'], ['yes', 'unsure', 'no']):3}:"
            f" yes {result.count(name_, ['unsure'], ['yes']):2},"
            f" no {result.count(name_, ['unsure'], ['no']):2};"
            f" none {none:3}: false yes {result.count(name_, ['no'], ['yes']):2},"
            f" false unsure {result.count(name_, ['no'], ['unsure']):2}"
        )
    out.append(
        "  kinds read as another: "
        + (
            ", ".join(
                f"{want} as {got} {n}"
                for (want, got), n in sorted(result.kinds.items())
                if want != got
            )
            or "none"
        )
    )
    out.append(
        "  confidence, exact/all: "
        + ", ".join(
            f"{ten / 10:.1f}+ {result.confident[ten, True]}/"
            f"{result.confident[ten, True] + result.confident[ten, False]}"
            for ten in sorted({ten for ten, _ in result.confident})
        )
    )
    return "\n".join(out)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("files", nargs="*", type=Path, help="default: every corpus file")
    parser.add_argument("--worst", type=int, default=0, help="show this many misread replies")
    args = parser.parse_args()
    for path in args.files or sorted(CORPUS.glob("*.jsonl")):
        result = score(load(path))
        print(report(path.name, result))
        for _, text, missed in sorted(result.wrong, key=lambda w: w[0])[: args.worst]:
            print(f"    {text!r}")
            for name, values in missed.items():
                print(f"        {name}: want {values['want']}, got {values['got']}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
