"""`rungwise read`: replies as JSON lines on standard input, readings as JSON lines out.

With --corrections: what trainers put right, from the database, for whoever maintains the corpora.
"""

import argparse
import json
import sys
from typing import Any

from rungwise.errors import ServiceError
from rungwise.reply import read
from rungwise.reply.lines import as_json, context_from, explained


class BadLine(ServiceError):
    """A line that is no reply to read."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--explain", action="store_true", help="say in words what was read and from which words"
    )
    parser.add_argument(
        "--corrections",
        action="store_true",
        help="list the texts that trainers put right, without names or numbers",
    )
    parser.add_argument("--database", help="with --corrections: URL (RUNGWISE_DATABASE_URL)")


def run(args: argparse.Namespace) -> int:
    """One line out for each line in; exit code 1 if any line could not be read as JSON."""
    if args.corrections:
        return _corrections(args.database)
    sys.stdin.reconfigure(encoding="utf-8", errors="surrogateescape")  # type: ignore[union-attr]
    bad = 0
    for number, line in enumerate(sys.stdin, start=1):
        if not line.strip():
            continue
        try:
            answer = _one(line, args.explain)
        except ServiceError as problem:
            bad += 1
            answer = json.dumps({"line": number, "error": str(problem)})
        print(answer, flush=sys.stdin.isatty())
    return 1 if bad else 0


def _corrections(database: str | None) -> int:
    # Loaded only for this: reading a line takes no database.
    from rungwise.coach.data.corrections import corrections  # noqa: PLC0415
    from rungwise.settings import Settings  # noqa: PLC0415
    from rungwise.store.sealing.unlocking import open_store  # noqa: PLC0415

    store = open_store(Settings.from_environment(), database)
    with store.read() as session:
        told = list(corrections(session))
    for line in told:
        print(json.dumps(line, ensure_ascii=False))
    if not told:
        print("No trainer has put a reading right yet.", file=sys.stderr)
    store.close()
    return 0


def _one(line: str, explain: bool) -> str:
    reply = _reply(line)
    text = reply["text"]
    context = context_from(reply.get("context") or {})
    reading = read(text, context)
    if explain:
        return explained(text, reading)
    identity = {"id": reply["id"]} if "id" in reply else {}
    return json.dumps(identity | as_json(text, reading))


def _reply(line: str) -> dict[str, Any]:
    try:
        reply = json.loads(line)
    except (ValueError, RecursionError) as problem:
        raise BadLine(f"This line is not JSON ({problem}).") from problem
    if not isinstance(reply, dict) or not isinstance(reply.get("text"), str):
        raise BadLine('A line must be an object with a "text", such as {"id": 1, "text": "20 s"}.')
    if not isinstance(reply.get("context") or {}, dict):
        raise BadLine('"context" must be an object, such as {"target_s": 20, "sided": true}.')
    return reply
