"""Writes docs/licences.md: every locked package, its version and its licence.

The licence is what the package's own metadata say, from the environment that runs this; where they
are silent, what its licence file says, read by hand and noted below.
"""

import re
import sys
from importlib import metadata
from pathlib import Path

ROOT = Path(__file__).parents[1]
PAGE = ROOT / "docs/licences.md"
# Read by hand, each with where: metadata without a licence, or not for this system.
BY_HAND = {
    "axe-playwright-python": "MIT (its licence file)",
    "colorama": "BSD (its metadata; only on Windows)",
    "httpx2-jsfetch": "not read: only for Python in a browser, never installed",
    "promql-parser": "MIT (its licence file)",
    "resvg-py": "MIT (its licence file; its bill of materials names the Rust parts)",
}
CLASS = "License ::"
HEAD = """# Licences

Every package that is locked, with its version and what it says of its licence. Written by `sh deploy/licences`; a test compares it with the locks. It is also the list of parts (a bill of materials): the hashes of the very files stand in `deploy/requirements.txt`, `deploy/requirements-sign-in.txt` and `deploy/requirements-test.txt`.

What is served uses permissive licences, and these that ask for more:

- **LGPL-3.0** (fpdf2, psycopg, psycopg-binary): used as they are, as libraries that anybody may replace. Who hands on a copy of this service with them hands on their licence too.
- **MPL-2.0** (certifi, tqdm): changed files of theirs must be published; none is changed.

The letters of pictures and PDFs are DejaVu 2.35, in `service/rungwise/ladder/fonts/` with their licence (Bitstream Vera's, with additions in the public domain): free to use and to hand on unchanged.

"""  # noqa: E501  # a paragraph of Markdown is one line


def locked(file: str) -> dict[str, str]:
    """Names in a lock with their version, or versions where Pythons differ."""
    text = (ROOT / "deploy" / file).read_text(encoding="utf-8")
    found: dict[str, str] = {}
    for name, version in re.findall(r"^([\w.-]+)==([\w.+!-]+)", text, re.MULTILINE):
        found[name] = f"{found[name]}, {version}" if name in found else version
    return found


def licence_of(name: str) -> str:
    """What the package says: its SPDX expression, else its classifiers, else a short field."""
    if name in BY_HAND:
        return BY_HAND[name]
    said = metadata.metadata(name)
    if expression := said.get("License-Expression"):
        return expression
    classes = said.get_all("Classifier") or []
    found = [each.rpartition(" :: ")[2] for each in classes if each.startswith(CLASS)]
    named = [each for each in found if each != "OSI Approved"]
    field = (said.get("License") or "").strip()
    if field and len(field) < 40 and "\n" not in field and not field.startswith("="):
        return f"{field} ({', '.join(named)})" if len(named) > 1 else field
    if not named:
        raise SystemExit(f"{name} says nothing of its licence: read it, and add it to BY_HAND.")
    return ", ".join(named)


def table(names: dict[str, str]) -> str:
    rows = [f"| {name} | {version} | {licence_of(name)} |" for name, version in names.items()]
    return "\n".join(["| package | version | licence |", "| --- | --- | --- |", *rows]) + "\n"


def page() -> str:
    served = locked("requirements.txt")
    signing_in = locked("requirements-sign-in.txt")
    tested = locked("requirements-test.txt")
    only_signing_in = {name: each for name, each in signing_in.items() if name not in served}
    only_tested = {name: each for name, each in tested.items() if name not in signing_in}
    return (
        f"{HEAD}## What is served\n\n{table(served)}\n## What passkeys and OpenID Connect use\n\n"
        f"{table(only_signing_in)}\n## What only the tests use\n\n"
        f"{table(only_tested)}"
    )


if __name__ == "__main__":
    written = page()
    PAGE.write_text(written, encoding="utf-8")
    print(f"{PAGE.relative_to(ROOT)}: {written.count(' | ') // 2 - 4} packages.", file=sys.stderr)
