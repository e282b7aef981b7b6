"""`rungwise comparison`: two settings compared, worked out from a research export alone."""

import argparse
import csv
from collections import defaultdict
from collections.abc import Mapping, Sequence
from pathlib import Path

from rungwise.errors import NotFound
from rungwise.evidence.comparison import Compared, Comparison, compare, days_followed

Rows = Sequence[Mapping[str, str]]
NEEDED = ("comparison", "sessions", "days", "falls")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", type=Path, help="a folder that `rungwise research` wrote")


def run(options: argparse.Namespace) -> int:
    found = compared_in(options.folder)
    if not found:
        print("This export holds no comparison.")
    for number, (outcome, one) in found.items():
        print(f"comparison {number}, {outcome}")
        for arm in one.arms:
            mean = "-" if arm.mean is None else f"{arm.mean:.3f}"
            deviation = "-" if arm.deviation is None else f"{arm.deviation:.3f}"
            print(
                f"  {arm.name}: {arm.clients} clients, {arm.missing} without a figure, "
                f"{arm.fell} told a fall, mean {mean}, SD {deviation}"
            )
        if one.difference is not None:
            gap = one.difference
            print(
                f"  {one.arms[1].name} less {one.arms[0].name}: {gap.value:.3f} "
                f"({gap.low:.3f} to {gap.high:.3f}), p {one.p_value:.3f}"
            )
    return 0


def compared_in(folder: Path) -> dict[str, tuple[str, Comparison]]:
    """Each comparison of an export by its number: its outcome, and what came of it."""
    tables = {name: _read(folder / f"{name}.csv") for name in NEEDED}
    by_client: dict[str, dict[str, list[Mapping[str, str]]]] = {
        name: defaultdict(list) for name in NEEDED
    }
    for name, rows in tables.items():
        for row in rows:
            by_client[name][row["client"]].append(row)
    numbers = sorted({row["comparison"] for row in tables["comparison"]}, key=int)
    found = {}
    for number in numbers:
        drawn = [row for row in tables["comparison"] if row["comparison"] == number]
        arms = drawn[0]["first"], drawn[0]["second"]
        outcome = drawn[0]["outcome"]
        clients = [_client(row, by_client) for row in drawn]
        found[number] = outcome, compare(arms, clients, outcome)
    return found


def _client(row: Mapping[str, str], tables: Mapping[str, Mapping[str, Rows]]) -> Compared:
    first, last = int(row["first_day"]), int(row["last_day"])
    sessions, days, falls = (
        tables[name].get(row["client"], ()) for name in ("sessions", "days", "falls")
    )
    held = [(int(one["day"]), one["planned"] == "yes", one["done"] == "yes") for one in sessions]
    told = [
        (
            int(one["day"]),
            float(one["difficulty"]) if one["difficulty"] else None,
            one["verdict"] or None,
        )
        for one in days
    ]
    fell = any(first <= int(one["day"]) <= last for one in falls)
    return Compared(row["arm"], days_followed(held, told, first, last), fell)


def _read(file: Path) -> Rows:
    try:
        with file.open(encoding="utf-8", newline="") as lines:
            return list(csv.DictReader(lines))
    except FileNotFoundError:
        raise NotFound(f"{file} is not there. `rungwise research` writes such a folder.") from None
