"""Writes docs/asvs.md, the appendix of docs/security.md, from asvs.toml.

python tests/security/write_asvs.py
"""

import tomllib
from collections import Counter
from pathlib import Path

HERE = Path(__file__).parent
PAGE = HERE.parents[1] / "docs/asvs.md"
STATES = {
    "met": "here, in code or tests",
    "operator": "by how it is installed; what we ship for it is named",
    "partly": "with the reason",
    "no": "with the reason",
    "n/a": "there is nothing that it could apply to",
}
HEAD = """\
# The security standard, line by line

OWASP's Application Security Verification Standard 4.0.3: every requirement of levels 1 and 2, in \
our words; the standard has the full text. Written by `python tests/security/write_asvs.py`; tests \
hold every file and test that it names to being there. [Security](security.md) says what matters \
most.
"""


def answers() -> dict[str, dict[str, list[str]]]:
    """By section, each requirement's number with what it asks for, its state, and where or why."""
    with (HERE / "asvs.toml").open("rb") as file:
        return tomllib.load(file)


def table(head: tuple[str, ...], rows: list[tuple[str, ...]]) -> str:
    return "\n".join(f"| {' | '.join(row)} |" for row in (head, ("---",) * len(head), *rows))


def page() -> str:
    sections = answers()
    counted = Counter(row[1] for rows in sections.values() for row in rows.values())
    parts = [HEAD.rstrip()]
    states = [(f"**{state}**", str(counted[state]), told) for state, told in STATES.items()]
    parts.append(table(("state", "requirements", "which means"), states))
    for name, rows in sections.items():
        head = ("no.", "asks for", "state", "where, or why not")
        parts += [f"## {name}", table(head, [(number, *row) for number, row in rows.items()])]
    return "\n\n".join(parts) + "\n"


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
