"""Markdown to HTML: anchors as GitHub makes them, links to where the pages stand in the site."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

from markdown_it import MarkdownIt
from markdown_it.renderer import RendererHTML
from markdown_it.token import Token

OUTSIDE = re.compile(r"[a-z][a-z0-9+.-]*:", re.IGNORECASE)  # a link with a scheme of its own
PLACE_IN_HTML = re.compile(r'(\s(?:src|href))="([^"]*)"')


@dataclass(frozen=True, slots=True)
class Heading:
    text: str
    id: str


@dataclass(frozen=True, slots=True)
class Rendered:
    """`files` are those to take along: name in the site → file in the checkout."""

    title: str
    html: str
    headings: tuple[Heading, ...]
    files: dict[str, Path]


def render(source: Path, root: Path, names: Mapping[Path, str]) -> Rendered:
    """One page. `names` says where each page of the checkout stands in the site."""
    words = MarkdownIt("commonmark", {"html": True}).enable(["table", "strikethrough"])
    for rule in (table_open, table_close, fence, code_block):
        words.add_render_rule(rule.__name__, rule)
    tokens = words.parse(source.read_text(encoding="utf-8"))
    places = _Places(source, root, names)
    headings = _anchors(tokens)
    for token in _all(tokens):
        places.move(token)
    first = next((one.text for level, one in headings if level == 1), "")
    below = tuple(one for level, one in headings if level == 2)
    html = words.renderer.render(tokens, words.options, {})
    return Rendered(first, html, below, places.files)


def slug(text: str, seen: dict[str, int]) -> str:
    """An anchor as GitHub makes it: letters, digits, `-` and `_`; a repeat gets a number."""
    plain = re.sub(r"[^\w\- ]", "", text.strip().lower()).replace(" ", "-")
    count = seen.get(plain, 0)
    seen[plain] = count + 1
    return f"{plain}-{count}" if count else plain


def _anchors(tokens: list[Token]) -> list[tuple[int, Heading]]:
    found, seen = [], dict[str, int]()
    for token, inner in pairwise(tokens):
        if token.type == "heading_open":
            kept = (one for one in inner.children or [] if one.type in ("text", "code_inline"))
            text = "".join(one.content for one in kept)
            heading = Heading(text, slug(text, seen))
            token.attrSet("id", heading.id)
            found.append((int(token.tag[1]), heading))
    return found


def _all(tokens: list[Token]) -> list[Token]:
    return [each for token in tokens for each in (token, *(token.children or []))]


@dataclass(slots=True)
class _Places:
    """Turns places in the checkout, as one page names them, into places in the site."""

    source: Path
    root: Path
    names: Mapping[Path, str]
    files: dict[str, Path]

    def __init__(self, source: Path, root: Path, names: Mapping[Path, str]) -> None:
        self.source, self.root, self.names, self.files = source, root, names, {}

    def move(self, token: Token) -> None:
        for name in ("href", "src"):
            place = token.attrGet(name)
            if isinstance(place, str):
                token.attrSet(name, self.of(place))
        if token.type in ("html_inline", "html_block"):
            token.content = PLACE_IN_HTML.sub(
                lambda found: f'{found[1]}="{self.of(found[2])}"', token.content
            )

    def of(self, place: str) -> str:
        path, mark, anchor = place.partition("#")
        if OUTSIDE.match(place) or not path:
            return place
        file = (self.source.parent / path).resolve()
        if file in self.names:
            return f"{self.names[file]}{mark}{anchor}"
        if not file.is_relative_to(self.root):
            return place  # the check says that it leads nowhere
        inside = file.relative_to(self.root).as_posix()
        picture = inside.startswith("docs/pictures/")
        name = inside.removeprefix("docs/") if picture else f"files/{inside}.txt"
        self.files[name] = file
        return f"{name}{mark}{anchor}"


# --- what may be wider than a phone, so it scrolls by itself and by keyboard ----------------------

WIDE = '<div class="wide" role="group" aria-label="{}" tabindex="0">'


def table_open(*_: Any) -> str:
    return WIDE.format("Table") + "<table>\n"


def table_close(*_: Any) -> str:
    return "</table></div>\n"


def fence(self: RendererHTML, tokens: list[Token], at: int, *rest: Any) -> str:
    return WIDE.format("Code") + self.fence(tokens, at, *rest).rstrip("\n") + "</div>\n"


def code_block(self: RendererHTML, tokens: list[Token], at: int, *rest: Any) -> str:
    return WIDE.format("Code") + self.code_block(tokens, at, *rest).rstrip("\n") + "</div>\n"
