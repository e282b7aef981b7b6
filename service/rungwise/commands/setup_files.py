"""The files that `rungwise setup` writes: whole or not at all, and for their owner only."""

import os
import shutil
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from rungwise.errors import ServiceError
from rungwise.shipped import shipped

KANNEL_TEMPLATE = shipped("commands/kannel.conf", "deploy/kannel/kannel.conf")


class CannotWrite(ServiceError):
    """A file or its folder that may not be written."""


@dataclass(frozen=True, slots=True)
class Plan:
    """A file and what is to stand in it. `owner`: a user who gets it, where there is such a one."""

    file: Path
    content: str
    owner: str | None = None

    @property
    def before(self) -> str | None:
        """What stands there now; None when there is no such file."""
        try:
            return self.file.read_text(encoding="utf-8")
        except FileNotFoundError:
            return None
        except OSError as problem:
            raise _cannot(self.file, problem) from None

    def write(self, now: datetime) -> Path | None:
        """Write it; what stood there before is kept beside it, and named."""
        kept = None
        before = self.before
        try:
            self.file.parent.mkdir(parents=True, exist_ok=True)
            if before is not None:
                kept = self.file.with_name(f"{self.file.name}.{now:%Y%m%dT%H%M%SZ}")
                _put(kept, before)
                _give(kept, self.owner)
            fresh = self.file.with_name(f".{self.file.name}.new")
            _put(fresh, self.content)
            _give(fresh, self.owner)
            fresh.replace(self.file)
        except OSError as problem:
            raise _cannot(self.file, problem) from None
        return kept


def kannel_conf(words: Mapping[str, str]) -> str:
    """Our configuration of Kannel with its @WORDS@ replaced."""
    text = KANNEL_TEMPLATE.read_text(encoding="utf-8")
    lines = []
    for line in text.splitlines():
        if not line.startswith("#"):
            for word, value in words.items():
                line = line.replace(f"@{word}@", value)  # noqa: PLW2901
        lines.append(line)
    return "\n".join(lines) + "\n"


def _put(file: Path, content: str) -> None:
    """On disk, readable by its owner only, before anything can look at it."""
    file.unlink(missing_ok=True)
    handle = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "w", encoding="utf-8") as out:
        out.write(content)
        out.flush()
        os.fsync(out.fileno())


def _give(file: Path, owner: str | None) -> None:
    if owner is not None and os.geteuid() == 0:
        try:
            shutil.chown(file, owner)
        except LookupError:
            return


def _cannot(file: Path, problem: OSError) -> CannotWrite:
    return CannotWrite(
        f"{file} cannot be read or written ({problem.strerror}). Run setup as root, or name "
        f"another file."
    )
