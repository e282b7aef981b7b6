"""The `rungwise` command: each subcommand is one module in service/rungwise/commands."""

import argparse
import sys
from importlib import import_module

from rungwise.errors import ServiceError

# Name, and the line `rungwise --help` shows. A module is service/rungwise/commands/<name>.py with
# `_` for `-`; it has add_arguments(parser) and run(args) -> exit code. Modules load only when
# called, so that `rungwise read` starts fast.
COMMANDS = {
    "serve": "run the service",
    "try": "load the invented demo practice and serve it on this machine",
    "demo": "move the demo's clock forward and watch what happens",
    "setup": "set up an installation: asks, checks, and writes the environment file",
    "check": "look at the installation and say what to put right",
    "migrate": "bring the database to this version's tables",
    "practice": "make a practice with its first lead, or a link for a new password",
    "client": "add, list or show clients",
    "told": "enter a day that a client told by phone, or that was seen at a visit",
    "read": "read replies: JSON lines in, JSON lines out",
    "ladder": "print a client's or a profile's ladder",
    "simulate": "run virtual clients through the decision rule",
    "keys": "make, show or change the keys that seal what names or quotes a person",
    "audit": "check that nobody changed the audit trail by hand",
    "replay": "re-read and re-decide everything stored, and print any difference",
    "rehearse": "play a conversation with an invented client, in memory",
    "booklet": "write the booklet of texts and tables for a clinician's review",
    "review-rule": "show what other settings would have made of the stored reports",
    "comparison": "work out two settings compared from a research export alone",
    "research": "write pseudonymous tables with a codebook for a study",
    "schedule": "print the next due instants of a local hour, in UTC",
    "segments": "count how many SMS segments a text takes",
    "due": "show what would go out until a moment, and to whom",
    "backup": "copy a SQLite database to a new file while the service runs",
    "restore": "make a backup the database again, and keep what was there",
    "move-store": "copy everything from one database to another, say SQLite to PostgreSQL",
}
# Libraries that only some commands need: the extras of pyproject.toml.
EXTRAS = {"matplotlib"}


def main(argv: list[str] | None = None) -> int:
    arguments = sys.argv[1:] if argv is None else argv
    try:
        return _run(arguments)
    except ServiceError as problem:
        print(f"rungwise: {problem}", file=sys.stderr)
        return 2
    except ModuleNotFoundError as missing:
        # What is ours, or what a plain install has, must be there.
        if missing.name not in EXTRAS:
            raise
        print(
            f"rungwise: This needs {missing.name}, which a plain install leaves out. "
            f"Install it beside the rest:  {sys.executable} -m pip install {missing.name}",
            file=sys.stderr,
        )
        return 2
    except BrokenPipeError:
        return 0
    except Exception as problem:
        # Loaded only now, for it takes long and most commands end well.
        away = import_module("rungwise.store.database").why_away(problem)
        if not away:
            raise
        print(f"rungwise: {away}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        return 130


def _run(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="rungwise", description=__doc__)
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)
    chosen = arguments[0] if arguments and arguments[0] in COMMANDS else None
    for name, line in COMMANDS.items():
        command = commands.add_parser(name, help=line, description=line)
        if name == chosen:
            module = import_module(f"rungwise.commands.{name.replace('-', '_')}")
            module.add_arguments(command)
    options = parser.parse_args(arguments)
    return 2 if chosen is None else int(module.run(options))


if __name__ == "__main__":
    sys.exit(main())
