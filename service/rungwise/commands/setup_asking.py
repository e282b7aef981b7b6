"""Where `rungwise setup` gets its answers: from a person at a terminal, or from a file."""

import getpass
import sys
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Protocol

from rungwise.commands.setup_questions import EVERY_NAME, NoAnswer, Question
from rungwise.errors import ServiceError

HIDDEN = "the one there is, or a new one"


class Asker(Protocol):
    """`ask` gives an answer that was not checked yet; `again` says why it was refused."""

    def ask(self, question: Question, default: str | None) -> str: ...

    def again(self, problem: ServiceError) -> None: ...

    def agrees(self, words: str) -> bool: ...


class Terminal:
    """A person. What was refused is asked again."""

    def ask(self, question: Question, default: str | None) -> str:
        shown = f" [{HIDDEN if question.secret else default}]" if default else ""
        prompt = f"{question.words}{shown}: "
        given = self._line(prompt, secret=question.secret)
        return given or (default or "")

    def again(self, problem: ServiceError) -> None:
        print(f"  {problem}")

    def agrees(self, words: str) -> bool:
        return self._line(f"{words} (yes or no) [yes]: ").lower() in ("", "yes", "y")

    def _line(self, prompt: str, *, secret: bool = False) -> str:
        try:
            if secret and sys.stdin.isatty():
                return getpass.getpass(prompt).strip()
            return input(prompt).strip()
        except EOFError:
            raise NoAnswer("Setup ended before everything was answered. Start it again.") from None


class AnswersFile:
    """A TOML file for scripts. What is refused ends setup; `replaces`: files may be replaced."""

    def __init__(self, file: Path, *, replaces: bool) -> None:
        self._replaces = replaces
        try:
            self._answers = dict(flat(tomllib.loads(file.read_text(encoding="utf-8"))))
        except (OSError, ValueError) as problem:
            raise NoAnswer(f"The answers in {file} cannot be read: {problem}.") from None
        strange = sorted(set(self._answers) - set(EVERY_NAME))
        if strange:
            raise NoAnswer(f"Setup asks nothing named {strange[0]}. Correct it in {file}.")

    def ask(self, question: Question, default: str | None) -> str:
        given = self._answers.get(question.name, default)
        if given is None:
            raise NoAnswer(f"The file of answers has no {question.name}: {question.words}.")
        return given

    def again(self, problem: ServiceError) -> None:
        raise problem

    def agrees(self, words: str) -> bool:
        if not self._replaces:
            raise NoAnswer(f"{words} With a file of answers, say so by --replace.")
        return True


def flat(told: Mapping[str, object], front: str = "") -> list[tuple[str, str]]:
    """`[practice] zone = "UTC"` as practice.zone; numbers and yes or no as words."""
    found: list[tuple[str, str]] = []
    for name, value in told.items():
        if isinstance(value, Mapping):
            found += flat(value, f"{front}{name}.")
        elif isinstance(value, bool):
            found.append((front + name, "yes" if value else "no"))
        elif isinstance(value, str | int):
            found.append((front + name, str(value)))
        else:
            raise ValueError(f"{front}{name} is neither words nor a number")
    return found
