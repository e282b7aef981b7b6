"""`rungwise ladder`: every rung of a client's or a profile's ladder, as a table or JSON."""

import argparse
import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any, TextIO

from rungwise.errors import ImpossibleValue, NotFound
from rungwise.ladder import Body, Ladder, Profile, Rung, build_ladder, profile_from_json
from rungwise.ladder.build import left_out_of
from rungwise.ladder.keys import round_name
from rungwise.ladder.room import LeftOut
from rungwise.wording.rung_words import Telling, rung_short, rung_text
from rungwise.wording.texts import LANGUAGES


def add_arguments(parser: argparse.ArgumentParser) -> None:
    whose = parser.add_mutually_exclusive_group(required=True)
    whose.add_argument(
        "--profile",
        metavar="FILE",
        help="a JSON file with body, equipment, limits, narrowing and target_s; - for standard "
        "input (docs/ladder.md)",
    )
    whose.add_argument("--client", type=int, metavar="ID", help="a client of the database")
    parser.add_argument("--database", help="database URL (RUNGWISE_DATABASE_URL)")
    parser.add_argument(
        "--language", choices=sorted(LANGUAGES), default="en", help="of the client texts"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON array")


def run(args: argparse.Namespace) -> int:
    if args.client is not None:
        profile = client_profile(args.client, args.database)
    else:
        profile = read_profile(args.profile)
    ladder = build_ladder(profile.body, profile.equipment, profile.limits, profile.narrowing)
    print_ladder(ladder, profile, args.json, sys.stdout, language=args.language)
    return 0


def client_profile(client_id: int, database: str | None) -> Profile:
    """The profile in a client's present plan."""
    # The store is loaded only for a client: a profile's ladder needs no database.
    from rungwise.commands.client import stored_profile  # noqa: PLC0415

    return stored_profile(client_id, database)


def read_profile(file: str) -> Profile:
    """The profile in `file` (- is standard input); a ServiceError says what is wrong with it."""
    try:
        text = sys.stdin.read() if file == "-" else Path(file).read_text(encoding="utf-8")
    except OSError as problem:
        raise NotFound(f"The profile {file} can't be read ({problem.strerror}).") from problem
    except UnicodeDecodeError as problem:
        raise ImpossibleValue("profile", file, "a text file in UTF-8") from problem
    try:
        given = json.loads(text)
    except json.JSONDecodeError as problem:
        where = f"line {problem.lineno}, column {problem.colno}"
        raise ImpossibleValue("profile", file, f"JSON ({problem.msg} at {where})") from problem
    if not isinstance(given, dict):
        raise ImpossibleValue("profile", type(given).__name__, "a JSON object")
    return profile_from_json(given)


def print_ladder(
    ladder: Ladder, profile: Profile, as_json: bool, out: TextIO, *, language: str = "en"
) -> None:
    """Write the ladder to `out`: a JSON array with a rung a line, or a table for people.

    The table says below what was left out, and why.
    """
    body = profile.body
    if as_json:
        telling = Telling(profile.target_s, tape=profile.equipment.tape)
        rows = (json.dumps(as_plain(rung, body, telling, language)) for rung in ladder.rungs)
        out.write("[\n" + ",\n".join(rows) + "\n]\n")
        return
    for line in _table(ladder, language):
        out.write(line.rstrip() + "\n")
    for one in left_out_of(body, profile.equipment, profile.limits):
        out.write(f"Left out: {_left_out(one)}\n")
    if body.estimated:
        out.write("The body is a guess from height and sex: measure the client.\n")


def as_plain(rung: Rung, body: Body, telling: Telling, language: str = "en") -> dict[str, Any]:
    """One rung as plain JSON values; docs/ladder.md says what each field means."""
    return {
        "key": rung.key,
        "stance": str(rung.stance),
        "offset_mm": rung.offset_mm,
        "step_mm": rung.step_mm,
        "surface": str(rung.surface),
        "layers": rung.layers,
        "orientation": rung.orientation,
        "under": None if rung.under is None else str(rung.under),
        "support": str(rung.support),
        "task": None if rung.task is None else str(rung.task),
        "lead": [str(side) for side in rung.sides],
        "gate": rung.gate,
        "landmark": rung.landmark,
        "demand": rung.demand,
        "client_text": rung_text(rung, body, telling, language),
    }


def _left_out(one: LeftOut) -> str:
    """One line: where, which stance, and the reason."""
    ground, stance = one.ground, one.stance.replace("_", " ")
    where = round_name(ground.surface, ground.layers, ground.orientation, one.under)
    return f"{where}, {stance}. {one.because}"


def _table(ladder: Ladder, language: str) -> Iterator[str]:
    rows = [("", "demand", "rung", "key", "landmark, gate")]
    for place, rung in enumerate(ladder.rungs, start=1):
        marks = [rung.landmark or "", f"gate {rung.gate}" if rung.gate else ""]
        rows.append(
            (
                str(place),
                f"{rung.demand:.2f}",
                rung_short(rung, language),
                rung.key,
                ", ".join(filter(None, marks)),
            )
        )
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    for row in rows:
        numbers = [row[column].rjust(widths[column]) for column in (0, 1)]
        texts = [row[column].ljust(widths[column]) for column in (2, 3, 4)]
        yield "  ".join(numbers + texts)
