"""The environment file: lines of NAME=value that systemd, the shell and compose read alike."""

import re
import shlex
from collections.abc import Mapping

from rungwise.errors import ServiceError

LINE = re.compile(r"(?:export )?([A-Za-z_][A-Za-z0-9_]*)=(.*)")
BARE = re.compile(r"[A-Za-z0-9_@%+:,./=?-]*")


class UnreadableFile(ServiceError):
    """A line of an environment file is not NAME=value. The message names its number only."""


class Unwritable(ServiceError):
    """A value that no quotes can hold in the three readers alike."""


def parse(text: str) -> dict[str, str]:
    """The values by name; of a name that stands twice, the last. UnreadableFile names the line."""
    found: dict[str, str] = {}
    for number, line in enumerate(text.splitlines(), 1):
        stripped = line.strip()
        if not stripped or stripped.startswith(("#", ";")):
            continue
        match = LINE.fullmatch(stripped)
        try:
            words = shlex.split(match[2]) if match else None
        except ValueError:
            words = None
        if match is None or words is None or len(words) > 1:
            raise UnreadableFile(
                f"Line {number} of the environment file is not NAME=value. Put single quotes "
                f"around a value with spaces or signs, or # at the front of a remark."
            )
        found[match[1]] = words[0] if words else ""
    return found


def quoted(value: str) -> str:
    """The value as it stands in the file; Unwritable when it holds both kinds of quotes."""
    if "\n" not in value and "\r" not in value:
        if BARE.fullmatch(value):
            return value
        if "'" not in value:
            return f"'{value}'"
        if not set(value) & set('"\\$`'):
            return f'"{value}"'
    raise Unwritable(
        "A value with a line break, or with a single quote beside other signs, cannot stand in "
        "the environment file. Choose another, or put it into a file of its own and name that "
        "by NAME_FILE."
    )


def merged(text: str, values: Mapping[str, str | None]) -> str:
    """`text` with these values: lines changed where they stand, others added, None taken out."""
    waiting = {name: value for name, value in values.items() if value is not None}
    lines: list[str] = []
    for line in text.splitlines():
        match = LINE.fullmatch(line.strip())
        name = match[1] if match else None
        if name not in values:
            lines.append(line)
        elif name in waiting:  # a name that stood twice stands once from here on
            lines.append(f"{name}={quoted(waiting.pop(name))}")
    lines += [f"{name}={quoted(value)}" for name, value in waiting.items()]
    return "\n".join(lines) + "\n"
