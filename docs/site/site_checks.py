"""What would not work on the site: links, anchors, pictures, and whatever comes from elsewhere."""

import posixpath
from collections.abc import Mapping
from html.parser import HTMLParser
from urllib.parse import unquote, urlsplit

VOID = frozenset({"area", "br", "col", "hr", "img", "input", "link", "meta", "wbr"})


class _Read(HTMLParser):
    """The ids, links and pictures of one page, and what is wrong with its form."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.ids: list[str] = []
        self.places: list[tuple[str, str]] = []  # tag and place
        self.wrong: list[str] = []
        self.open: list[str] = []
        self.feed(text)
        self.close()
        self.wrong += [f"<{tag}> is never closed." for tag in self.open]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        told = dict(attrs)
        if tag not in VOID:
            self.open.append(tag)
        if "id" in told:
            self.ids.append(told["id"] or "")
        self.places += [(tag, told[name] or "") for name in ("href", "src") if name in told]
        if tag == "img" and not (told.get("alt") or "").strip():
            self.wrong.append(f"the picture {told.get('src')} has no words for it.")
        if tag == "script" or "style" in told or any(name.startswith("on") for name in told):
            self.wrong.append(f"<{tag}> brings a script or a style of its own.")

    def handle_endtag(self, tag: str) -> None:
        if tag in VOID:
            return
        if not self.open or self.open.pop() != tag:
            self.wrong.append(f"</{tag}> closes something else.")


def wrong_with(files: Mapping[str, bytes]) -> list[str]:
    """A sentence for each thing wrong in the HTML of `files` (name in the site → content)."""
    pages = {name: _Read(text.decode()) for name, text in files.items() if name.endswith(".html")}
    wrong = []
    for name, page in pages.items():
        twice = {one for one in page.ids if page.ids.count(one) > 1}
        found = page.wrong + [f"the anchor {one} stands twice." for one in sorted(twice)]
        found += [
            said for tag, place in page.places if (said := _led(tag, place, name, pages, files))
        ]
        wrong += [f"{name}: {said}" for said in found]
    return wrong


def _led(
    tag: str, place: str, name: str, pages: Mapping[str, _Read], files: Mapping[str, bytes]
) -> str:
    """What is wrong with a place, or nothing."""
    parts = urlsplit(place)
    if parts.scheme or parts.netloc:
        good = tag == "a" and parts.scheme in ("https", "http", "mailto")
        return "" if good else f"<{tag}> takes {place} from elsewhere."
    path = unquote(parts.path)
    target = posixpath.normpath(posixpath.join(posixpath.dirname(name), path)) if path else name
    if target not in files:
        return f"{place} leads to nothing on the site."
    if parts.fragment and (target not in pages or unquote(parts.fragment) not in pages[target].ids):
        return f"{place} leads to no such place on its page."
    return ""
