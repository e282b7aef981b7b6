"""`rungwise check`: look at the installation, and say what to put right."""

import argparse
import json
import os
import textwrap
from dataclasses import asdict
from datetime import UTC, datetime

from rungwise.commands.check_judge import judge, well
from rungwise.commands.check_look import look
from rungwise.commands.check_machine_judge import Finding

WIDTH = 100


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--json", action="store_true", help="one JSON object")


def run(options: argparse.Namespace) -> int:
    """0 when nothing failed; warnings alone are no failure."""
    findings = judge(look(os.environ, datetime.now(UTC)))
    if options.json:
        told = [asdict(finding) for finding in findings]
        print(json.dumps({"well": well(findings), "findings": told}, ensure_ascii=False))
    else:
        tell(findings)
    return 0 if well(findings) else 1


def tell(findings: list[Finding]) -> None:
    """A line for each finding, and its advice below it."""
    wide = max(len(finding.what) for finding in findings)
    for finding in findings:
        front = f"{finding.verdict:<5} {finding.what:<{wide}}  "
        print(_wrapped(finding.said, front, " " * len(front)))
        if finding.advice and finding.verdict != "ok":
            print(_wrapped(finding.advice, " " * len(front) + "-> ", " " * (len(front) + 3)))
    counts = {
        verdict: sum(finding.verdict == verdict for finding in findings)
        for verdict in ("fail", "warn")
    }
    if counts["fail"]:
        print(f"Not in order: {counts['fail']} to put right, {counts['warn']} to look at.")
    elif counts["warn"]:
        print(f"In order, with {counts['warn']} to look at.")
    else:
        print("All in order.")


def _wrapped(words: str, first: str, rest: str) -> str:
    # Commands and addresses must not be broken apart.
    return textwrap.fill(
        words,
        WIDTH,
        initial_indent=first,
        subsequent_indent=rest,
        break_long_words=False,
        break_on_hyphens=False,
    )
