"""`rungwise rehearse`: a conversation with an invented client, in memory; nothing is stored."""

import argparse
import json
import sys
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from rungwise.coach.conversation.rehearsal import Conversation, Heard, Turn, rehearse
from rungwise.errors import ServiceError
from rungwise.reply.lines import explained
from rungwise.wording.safety import known_country
from rungwise.wording.texts import LANGUAGES

LONGEST_HOLD_S = (10, 30)
FIELDS = {
    "id": (str, int),
    "language": str,
    "sided": bool,
    "target_s": int,
    "usual_pain": (str, type(None)),
    "turns": list,
    "country": str,
}
TURN_FIELDS = {"after_min": (int, float), "say": (str, type(None))}


class BadConversation(ServiceError):
    """A line that is no conversation to rehearse."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "file", nargs="?", default="-", help="conversations as JSON lines, or - for standard input"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON line a conversation")


def run(args: argparse.Namespace) -> int:
    """Exit code 1 if any line could not be rehearsed."""
    bad = 0
    for number, line in enumerate(_lines(args.file), start=1):
        if not line.strip():
            continue
        try:
            conversation = conversation_from(line)
            heard = list(rehearse(conversation))
        except ServiceError as problem:
            bad += 1
            print(json.dumps({"line": number, "error": str(problem)}), flush=True)
            continue
        print(as_line(conversation, heard) if args.json else as_dialogue(heard), flush=True)
    return 1 if bad else 0


def _lines(file: str) -> Iterator[str]:
    if file == "-":
        sys.stdin.reconfigure(encoding="utf-8", errors="surrogateescape")  # type: ignore[union-attr]
        yield from sys.stdin
        return
    try:
        with Path(file).open(encoding="utf-8", errors="surrogateescape") as opened:
            yield from opened
    except OSError as problem:
        raise BadConversation(f"{file} cannot be read: {problem.strerror}.") from problem


def conversation_from(line: str) -> Conversation:
    """The conversation on a line. BadConversation says what is wrong with it, by name."""
    try:
        given = json.loads(line)
    except (ValueError, RecursionError) as problem:
        raise BadConversation(f"This line is not JSON ({problem}).") from problem
    _check(given, FIELDS, "a conversation")
    if "turns" not in given or not given["turns"]:
        raise BadConversation('"turns" must hold some, such as {"after_min": 20, "say": "20"}.')
    turns = []
    for turn in given.pop("turns"):
        _check(turn, TURN_FIELDS, "a turn")
        if "after_min" not in turn or not 0 <= turn["after_min"] < float("inf"):
            raise BadConversation('Each turn needs "after_min", minutes that are not negative.')
        turns.append(Turn(**turn))
    target_s = given.get("target_s", 20)
    low, high = LONGEST_HOLD_S
    if not low <= target_s <= high:
        raise BadConversation(f'"target_s" must be from {low} to {high}, not {target_s}.')
    if given.get("language", "en") not in LANGUAGES:
        raise BadConversation(f'"language" must be one of {", ".join(LANGUAGES)}.')
    if not known_country(given.get("country", "US")):
        raise BadConversation('"country" must be an ISO 3166-1 code whose number we know.')
    return Conversation(turns=turns, **given)


def _check(given: Any, fields: Mapping[str, Any], what: str) -> None:
    if not isinstance(given, dict):
        raise BadConversation(f"{what.capitalize()} must be a JSON object.")
    unknown = sorted(set(given) - set(fields))
    if unknown:
        known = ", ".join(fields)
        raise BadConversation(f"Unknown field(s) in {what}: {', '.join(unknown)}. Known: {known}.")
    for name, value in given.items():
        wrong = not isinstance(value, fields[name])
        if wrong or (isinstance(value, bool) and fields[name] is not bool):
            raise BadConversation(f'"{name}" in {what} cannot be {json.dumps(value)}.')


def as_line(conversation: Conversation, heard: list[Heard]) -> str:
    identity = {"id": conversation.id} if conversation.id is not None else {}
    return json.dumps(identity | {"turns": [each.as_json() for each in heard]})


def as_dialogue(heard: list[Heard]) -> str:
    """The conversation to be read by people: who said what, and what was understood of it."""
    lines: list[str] = []
    for each in heard:
        told = each.as_json()
        lines += [f"  ({_at(each)}, meanwhile) we: {text}" for text in told["between"]["answers"]]
        lines += [f"  (meanwhile) alert: {_alert(one)}" for one in told["between"]["alerts"]]
        lines.append(f"{_at(each)} client: {each.said if each.said is not None else '(silent)'}")
        if each.reading is not None and each.said is not None:
            lines += [
                f"    understood: {part}"
                for part in explained(each.said, each.reading).splitlines()
            ]
        lines += [f"  we: {text}" for text in told["answers"]]
        lines += [f"  alert: {_alert(one)}" for one in told["alerts"]]
        asked = f", asked: {told['asked']}" if told["asked"] else ""
        lines.append(f"  move: {told['move'] or 'none'}, state: {told['state']}{asked}")
    return "\n".join([*lines, ""])


def _at(heard: Heard) -> str:
    return heard.at.astimezone(ZoneInfo(heard.dossier.zone)).strftime("%a %H:%M")


def _alert(told: Mapping[str, str]) -> str:
    return f"{told['kind'].replace('_', ' ')} ({told['urgency']})"
