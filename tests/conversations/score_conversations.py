"""Scores whole conversations: `score_conversations.py FILE [FILE ...] [--misses]`.

Each turn of a conversation is rehearsed and held against its labels; README.md says what they are.
"""

import argparse
import json
import re
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from unicodedata import combining, normalize

from rungwise.coach.conversation.rehearsal import Conversation, Heard, Turn, rehearse

ORDER = ("urgent", "today", "note")


@dataclass(frozen=True, slots=True)
class Miss:
    """A label that a turn did not meet."""

    id: str
    turn: int
    said: str | None
    label: str
    wanted: object
    got: object


def conversations(path: Path) -> Iterator[dict[str, Any]]:
    with path.open(encoding="utf-8") as lines:
        yield from (json.loads(line) for line in lines if line.strip())


def heard(given: Mapping[str, Any]) -> list[Heard]:
    """The conversation rehearsed; `{prompt}` and `{last}` in what is said are texts we sent."""
    fields = {
        name: given[name]
        for name in ("id", "language", "sided", "target_s", "usual_pain", "country")
        if name in given
    }
    turns: list[Turn] = []
    result: list[Heard] = []
    for turn in given["turns"]:
        say = turn["say"]
        if say is not None and ("{prompt}" in say or "{last}" in say):
            ours = list(_ours(result)) or _first(fields)
            prompts = [text for text, kind in ours if kind == "prompt"]
            say = say.replace("{prompt}", prompts[-1]).replace("{last}", ours[-1][0])
        turns.append(Turn(turn["after_min"], say))
        result = list(rehearse(Conversation(turns=turns, **fields)))
    return result


def _ours(result: Sequence[Heard]) -> Iterator[tuple[str, str]]:
    for each in result:
        for effects in (*each.between, each.effects):
            for step in effects.steps:
                if hasattr(step, "body"):
                    yield step.body, step.kind


def _first(fields: Mapping[str, Any]) -> list[tuple[str, str]]:
    return list(_ours(list(rehearse(Conversation(turns=[Turn(0, None)], **fields)))))


def misses(given: Mapping[str, Any]) -> Iterator[Miss]:
    for place, (turn, each) in enumerate(zip(given["turns"], heard(given), strict=True)):
        told = each.as_json()
        for label, wanted, got in _wrong(turn["want"], told, silent=turn["say"] is None):
            yield Miss(given["id"], place, turn["say"], label, wanted, got)


def _gravest(alerts: Sequence[Mapping[str, str]]) -> str | None:
    return min((alert["urgency"] for alert in alerts), key=ORDER.index, default=None)


def _holds(report: Mapping[str, Any] | None) -> Counter[tuple[float, str | None]]:
    found: Counter[tuple[float, str | None]] = Counter()
    for hold in report["holds"] if report else ():
        sides = ("left", "right") if hold["side"] == "both" else (hold["side"],)
        found.update((float(hold["seconds"]), side) for side in sides)
    return found


def _wrong(
    want: Mapping[str, Any], told: Mapping[str, Any], *, silent: bool
) -> Iterator[tuple[str, object, object]]:
    simple = {"state": told["state"], "asked": told["asked"], "urgency": _gravest(told["alerts"])}
    simple["between_urgency"] = _gravest(told["between"]["alerts"])
    for label, got in simple.items():
        if label in want and want[label] != got:
            yield label, want[label], got
    if "asked_in" in want and told["asked"] not in want["asked_in"]:
        yield "asked_in", want["asked_in"], told["asked"]
    kinds = {alert["kind"] for alert in told["alerts"]}
    ever = kinds | {alert["kind"] for alert in told["between"]["alerts"]}
    if "kinds_any" in want and not ever & set(want["kinds_any"]):
        yield "kinds_any", want["kinds_any"], sorted(kinds)
    if not set(want.get("kinds", ())) <= kinds:
        yield "kinds", want["kinds"], sorted(kinds)
    if "holds" in want and _holds({"holds": want["holds"]}) != _holds(told["report"]):
        yield "holds", want["holds"], told["report"]
    steadiness = told["report"]["steadiness"] if told["report"] else None
    if "steadiness" in want and want["steadiness"] != steadiness:
        yield "steadiness", want["steadiness"], steadiness
    if "move_in" in want and told["move"] not in want["move_in"]:
        yield "move_in", want["move_in"], told["move"]
    answers = [*told["answers"], *(told["between"]["answers"] if silent else ())]
    for pattern in want.get("says", ()):
        if not any(_matches(pattern, text) for text in answers):
            yield "says", pattern, answers
    for pattern in want.get("never", ()):
        if any(_matches(pattern, text) for text in answers):
            yield "never", pattern, answers


def _matches(pattern: str, text: str) -> bool:
    """Whether the text has the pattern; case and accents do not matter."""
    return re.search(_plain(pattern), _plain(text), re.IGNORECASE) is not None


def _plain(text: str) -> str:
    return "".join(c for c in normalize("NFKD", text) if not combining(c))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("files", nargs="+", type=Path)
    parser.add_argument("--misses", action="store_true", help="print every label that was missed")
    parser.add_argument("--label", help="only misses of this label")
    args = parser.parse_args()
    turns = wrong_turns = safety = lost = 0
    labels: Counter[str] = Counter()
    classes: defaultdict[str, Counter[str]] = defaultdict(Counter)
    for path in args.files:
        for given in conversations(path):
            found = list(misses(given))
            bad = {miss.turn for miss in found}
            turns += len(given["turns"])
            wrong_turns += len(bad)
            for place, turn in enumerate(given["turns"]):
                if turn["want"].get("safety") or turn.get("safety"):
                    safety += 1
                    gone = [m for m in found if m.turn == place and m.label in ("state", "urgency")]
                    lost += bool(gone)
            labels.update(miss.label for miss in found)
            for name in given["class"]:
                classes[name]["turns"] += len(given["turns"])
                classes[name]["wrong"] += len(bad)
            for miss in found:
                if args.misses and args.label in (None, miss.label):
                    print(
                        f"{miss.id}#{miss.turn} {miss.label}: wanted {miss.wanted!r}, "
                        f"got {miss.got!r}\n    {miss.said!r}"
                    )
    print(f"{turns - wrong_turns} of {turns} turns right ({1 - wrong_turns / turns:.1%})")
    print(f"{lost} of {safety} safety turns lost in state or urgency")
    print(", ".join(f"{label} {count}" for label, count in labels.most_common()))
    for name, count in sorted(classes.items()):
        print(f"  {name}: {count['turns'] - count['wrong']} of {count['turns']}")


if __name__ == "__main__":
    main()
