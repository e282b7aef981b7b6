"""The texts of tests/reply/said: what a careful person hears beside the hold and harm.

One file a language. `@` lines give the context of what follows, a line is `field=value ... | text`.
Every other text was kept unopened until its rules were done. A value is `-` for none, 1 and 0 for
true and false; `\\n` in a text is a new line.
"""

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rungwise.reply import read
from rungwise.reply.lines import as_json, context_from

FOLDER = Path(__file__).parent / "said"
_CONTEXT = {"asked": "asked", "today": "today", "support": "support", "usual": "usual_pain"}
_LISTS = ("asks", "wish_days")
_WANTED = r'(\w+)=("[^"]*"|\S*)'


@dataclass(frozen=True)
class Told:
    text: str
    context: dict[str, Any]
    want: dict[str, str]
    part: str  # "tune" or "kept"
    chapter: str


def texts(language: str) -> Iterator[Told]:
    context: dict[str, Any] = {"language": language}
    chapter, number = "", 0
    for line in (FOLDER / f"{language}.txt").read_text(encoding="utf-8").splitlines():
        if line.startswith("# "):
            chapter, context = line[2:], {"language": language}
        elif line.startswith("@"):
            context = {"language": language}
            name, _, value = line[1:].strip().partition("=")
            if name == "our":
                context["our_texts"] = value.split("||")
            elif name:
                context[_CONTEXT[name]] = value
        elif line.strip():
            wanted, _, text = line.partition(" | ")
            number += 1
            want = {name: value.strip('"') for name, value in re.findall(_WANTED, wanted)}
            part = "kept" if number % 2 == 0 else "tune"
            yield Told(text.replace("\\n", "\n"), dict(context), want, part, chapter)


def _plain(name: str, value: Any) -> str:
    if value is None:
        return "-"
    if isinstance(value, bool):
        return str(int(value))
    if name == "holds":
        return ",".join(f"{hold['seconds']:g}" for hold in value)
    if isinstance(value, list):
        return ",".join(value)
    return str(value)


def missed(told: Told) -> dict[str, tuple[str, str]]:
    """Each field read otherwise than wanted: (wanted, read)."""
    got = as_json(told.text, read(told.text, context_from(told.context), second=False))
    wrong = {}
    for name, value in told.want.items():
        now = _plain(name, got[name])
        if name == "asks" and value and value in now.split(","):
            continue
        if now != value:
            wrong[name] = (value, now)
    return wrong


if __name__ == "__main__":
    import sys

    for language in sys.argv[2:] or ["en", "es"]:
        every = [t for t in texts(language) if sys.argv[1] in (t.part, "all")]
        bad = [(t, missed(t)) for t in every]
        for t, wrong in bad:
            if wrong:
                print(
                    t.chapter,
                    t.context.get("asked", ""),
                    repr(t.text),
                    json.dumps(wrong, ensure_ascii=False),
                )
        right = sum(not wrong for _, wrong in bad)
        print(language, sys.argv[1], f"{right} of {len(every)} right")
