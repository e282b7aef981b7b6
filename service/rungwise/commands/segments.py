"""`rungwise segments`: how a text divides into SMS segments."""

import argparse
import json
import sys

from rungwise.wording.segments import MOST_PARTS, Segments, segments

_UNIT_NAMES = {"GSM-7": "septets", "UCS-2": "16-bit units"}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("text", metavar="TEXT", help="the text; - reads it from standard input")
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def run(args: argparse.Namespace) -> int:
    """Print the encoding, the units and the parts; 1 if no phone could join so many parts."""
    text = args.text
    if text == "-":
        text = sys.stdin.buffer.read().decode("utf-8", "replace").removesuffix("\n")
    counted = segments(text)
    print(json.dumps(_as_json(counted), ensure_ascii=False) if args.json else _as_lines(counted))
    return 0 if counted.sendable else 1


def _as_json(counted: Segments) -> dict[str, object]:
    return {
        "encoding": counted.encoding,
        "units": counted.units,
        "septets": counted.units if counted.encoding == "GSM-7" else None,
        "segments": counted.count,
        "parts": list(counted.parts),
        "part_units": list(counted.part_units),
    }


def _as_lines(counted: Segments) -> str:
    unit = _UNIT_NAMES[counted.encoding]
    noun = "segment" if counted.count == 1 else "segments"
    lines = [f"{counted.encoding}: {counted.units} {unit}, {counted.count} {noun}"]
    for place, (part, units) in enumerate(
        zip(counted.parts, counted.part_units, strict=True), start=1
    ):
        lines.append(f"{place:>3}  {units:>3} {unit}  {part}")
    if not counted.sendable:
        lines.append(f"A phone joins at most {MOST_PARTS} segments: shorten the text.")
    return "\n".join(lines)
