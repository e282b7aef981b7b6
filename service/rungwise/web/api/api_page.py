"""The page of the API, docs/api.md, and its description, docs/openapi.json, from the code.

python -m rungwise.web.api.api_page > docs/api.md
python -m rungwise.web.api.api_page --json > docs/openapi.json
"""

import json
import sys
from collections.abc import Sequence
from importlib import resources
from typing import Any

from rungwise.clock import SystemClock
from rungwise.coach.accounts.api_tokens import SCOPES
from rungwise.coach.outbox.webhook_calls import KINDS as HOOK_KINDS
from rungwise.parts import Parts
from rungwise.settings import Settings
from rungwise.store import Store
from rungwise.web.api import describe, make_api
from rungwise.web.api.problems import TYPES, sentence_of

LIMITS = (
    ("minimum", "from"),
    ("maximum", "to"),
    ("minLength", "at least"),
    ("maxLength", "at most"),
)


def described() -> dict[str, Any]:
    """The API's description; it needs no database."""
    return describe(make_api(Parts(Settings(), Store("sqlite://"), SystemClock(), {})))


def page() -> str:
    """The whole page in Markdown."""
    found = described()
    guide = resources.files("rungwise.web.api").joinpath("guide.txt").read_text(encoding="utf-8")
    kinds = table(("type", "when"), [(f"`{kind}`", told) for kind, told in HOOK_KINDS.items()])
    parts = [guide.replace("{kinds}", kinds).rstrip(), "## Scopes"]
    parts.append(table(("scope", "lets a program"), [(f"`{a}`", b) for a, b in SCOPES.items()]))
    parts.append("## Calls")
    for path, methods in found["paths"].items():
        for method, operation in methods.items():
            parts += call(method.upper(), path, operation)
    parts.append("## What is taken and given")
    for name, schema in sorted(found["components"]["schemas"].items()):
        parts += shape(name, schema)
    parts.append("## Kinds of problems")
    kinds_of = found["components"]["schemas"]["Problem"]["properties"]["type"]["examples"]
    told = [(f"`{kind}`", sentence_of(kind.removeprefix(TYPES)) or "") for kind in kinds_of]
    parts.append(table(("type", "meaning"), told))
    return "\n\n".join(parts) + "\n"


def call(method: str, path: str, operation: dict[str, Any]) -> list[str]:
    """One call: what it does, what it is asked with, what it answers."""
    parts = [f"### {method} {path}", " ".join(operation["description"].split("\n\n"))]
    asked = [
        (f"`{one['name']}`", one["in"], kind_of(one["schema"]), one.get("description", ""))
        for one in operation.get("parameters", ())
    ]
    if asked:
        parts.append(table(("asked with", "in", "kind", "meaning"), asked))
    told = []
    if "requestBody" in operation:
        schema = operation["requestBody"]["content"]["application/json"]["schema"]
        told.append(f"Takes {kind_of(schema)}.")
    good = next(status for status in operation["responses"] if status.startswith("2"))
    for kind, content in operation["responses"][good]["content"].items():
        given = kind_of(content["schema"]) if kind == "application/json" else kind
        told.append(f"Answers {good} with {given}.")
    bad = [status for status in operation["responses"] if status > "299"]
    told.append(f"Problems: {', '.join(bad)}.")
    return [*parts, " ".join(told)]


def shape(name: str, schema: dict[str, Any]) -> list[str]:
    """One kind of value, field by field."""
    needed = schema.get("required", ())
    rows = [
        (
            f"`{field}`",
            kind_of(one),
            "always" if field in needed else "may be left out",
            one.get("description", ""),
        )
        for field, one in schema.get("properties", {}).items()
    ]
    about = " ".join(schema.get("description", "").split())
    return [
        f"### {plain(name)}",
        *([about] if about else []),
        table(("field", "kind", "there", "meaning"), rows),
    ]


def plain(name: str) -> str:
    """A shape's name without the marks of a page of something: Page of ClientOut."""
    return name.replace("Page_", "Page of ").rstrip("_")


def kind_of(schema: dict[str, Any]) -> str:
    """A value's kind in words, with a link where it has a section of its own."""
    if "$ref" in schema:
        name = plain(schema["$ref"].rpartition("/")[2])
        return f"[{name}](#{name.lower().replace(' ', '-')})"
    if "anyOf" in schema:
        return " or ".join(kind_of(one) for one in schema["anyOf"])
    values = schema.get("enum", [schema["const"]] if "const" in schema else [])
    if values:
        return ", ".join(f"`{value}`" for value in values)
    if schema.get("type") == "array":
        pair = schema.get("prefixItems")
        return f"pair of {kind_of(pair[0])}" if pair else f"list of {kind_of(schema['items'])}"
    if "properties" in schema:
        return f"strings by name: {', '.join(f'`{name}`' for name in schema['properties'])}"
    return schema.get("format") or limited(schema)


def limited(schema: dict[str, Any]) -> str:
    """A plain kind with what it may be."""
    kind = str(schema.get("type", "anything"))
    limits = " ".join(f"{words} {schema[name]}" for name, words in LIMITS if name in schema)
    letters = " letters" if limits and kind == "string" else ""
    return f"{kind}, {limits}{letters}" if limits else kind


def table(head: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> str:
    lines = [head, ("---",) * len(head), *rows]
    return "\n".join(f"| {' | '.join(cell.replace('|', '/') for cell in row)} |" for row in lines)


if __name__ == "__main__":
    if "--json" in sys.argv[1:]:
        print(json.dumps(described(), indent=1, ensure_ascii=False))
    else:
        print(page(), end="")
