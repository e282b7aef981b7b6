"""The commands that the docs tell people to type: from `sh` blocks, and from the lines of text."""

import re
import shlex
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
PAGES = (ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").rglob("*.md")))

# What a command in a line of text begins with; in a block everything is one.
PROGRAMS = frozenset(
    {
        *("rungwise", ".venv/bin/rungwise", "sh", "python", "pytest", "curl", "git", "openssl"),
        *("apt-get", "service", "systemctl", "journalctl", "systemd-analyze", "docker"),
        *("createdb", "dropdb", "psql", "pg_dump", "pg_restore"),
    }
)
BETWEEN = frozenset({"&&", "||", ";", "|", "&"})
OF_THE_SHELL = frozenset({"until", "while", "if", "then", "else", "fi", "do", "done", "!"})
FENCE = re.compile(r"^ *```(\w*)$")
SPAN = re.compile(r"`([^`\n]+)`")


@dataclass(frozen=True, slots=True)
class Told:
    """One simple command, without where its output goes."""

    page: str
    line: int
    words: tuple[str, ...]
    in_block: bool

    @property
    def program(self) -> str:
        return self.words[0].removeprefix(".venv/bin/")

    @property
    def text(self) -> str:
        return shlex.join(self.words)

    @property
    def place(self) -> str:
        return f"{self.page}:{self.line}: {self.text}"


@dataclass(frozen=True, slots=True)
class Fence:
    page: str
    line: int
    language: str
    text: str


def fences(page: Path) -> Iterator[Fence]:
    name = page.relative_to(ROOT).as_posix()
    opened: tuple[int, str] | None = None
    kept: list[str] = []
    for number, line in enumerate(page.read_text(encoding="utf-8").splitlines(), 1):
        found = FENCE.match(line)
        if found and opened is None:
            opened, kept = (number, found[1]), []
        elif found and opened is not None:
            yield Fence(name, opened[0], opened[1], "\n".join(kept))
            opened = None
        else:
            kept.append(line)


def is_commands(fence: Fence) -> bool:
    """Whether people are told to type it: marked so, or begun with a program."""
    first = fence.text.split(maxsplit=1)[0] if fence.text.strip() else ""
    return fence.language == "sh" or (not fence.language and first in PROGRAMS)


def told(page: Path) -> list[Told]:
    """Every command on the page, in order."""
    name = page.relative_to(ROOT).as_posix()
    found = []
    inside: set[int] = set()
    for fence in fences(page):
        lines = fence.text.split("\n")
        inside |= set(range(fence.line, fence.line + len(lines) + 2))
        if is_commands(fence):
            for at, words in _simple(lines):
                found.append(Told(name, fence.line + 1 + at, words, True))
    for number, line in enumerate(page.read_text(encoding="utf-8").splitlines(), 1):
        if number not in inside:
            for span in SPAN.findall(line):
                first, _, rest = span.partition(" ")
                if first in PROGRAMS and rest:
                    for _, words in _simple([span]):
                        found.append(Told(name, number, words, False))
    return sorted(found, key=lambda one: one.line)


def _simple(lines: list[str]) -> Iterator[tuple[int, tuple[str, ...]]]:
    """The simple commands of a script, each with the line it begins on."""
    at, waiting = 0, ""
    for number, line in enumerate(lines):
        at = at if waiting else number
        waiting += line.removesuffix("\\") + " "
        if not line.endswith("\\"):
            for words in _split(waiting):
                yield at, words
            waiting = ""


def _split(line: str) -> Iterator[tuple[str, ...]]:
    reader = shlex.shlex(line, posix=True, punctuation_chars="|&;>")
    reader.whitespace_split = True
    reader.commenters = "#"
    words: list[str] = []
    into = False
    for word in [*reader, ";"]:
        if word in BETWEEN:
            if words:
                yield tuple(words)
            words = []
        elif set(word) == {">"}:
            into = True
        elif into:
            into = False
        elif words or not (word in OF_THE_SHELL or re.fullmatch(r"\w+=\S*", word)):
            words.append(word)
