"""Writes the pages of docs/ with README.md and DEVELOPERS.md as a small site: `sh deploy/docs`.

The site is plain files without scripts, readable from a disk as from a server. Nothing is written
if anything on it would not work: a link or an anchor that leads nowhere, a picture that is not
there or has no words, a page that stands nowhere in navigation.toml.
"""

import argparse
import sys
import tomllib
from dataclasses import dataclass, field
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from site_checks import wrong_with
from site_pages import Heading, Rendered, render

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
STATIC = "service/rungwise/web/static"
OURS = ".written-by-rungwise"  # lists what was written, so that only that is ever removed


class SiteError(Exception):
    """The site was not written; the message is what to put right, a line each."""


@dataclass(frozen=True, slots=True)
class Page:
    """One page: `source` in the checkout, `name` in the site."""

    source: Path
    name: str
    label: str
    title: str = ""
    html: str = ""
    headings: tuple[Heading, ...] = ()


@dataclass(frozen=True, slots=True)
class Group:
    title: str
    pages: tuple[Page, ...]


@dataclass(slots=True)
class Site:
    groups: list[Group]
    files: dict[str, bytes] = field(default_factory=dict)
    wrong: list[str] = field(default_factory=list)


def navigation(root: Path) -> list[Group]:
    """The groups of pages that are there, in the order of navigation.toml."""
    told = tomllib.loads((root / "docs/site/navigation.toml").read_text(encoding="utf-8"))
    groups = []
    for group in told["group"]:
        pages = [
            Page(root / page["file"], name_of(page["file"]), page["label"])
            for page in group["pages"]
            if (root / page["file"]).exists()
        ]
        if pages:
            groups.append(Group(group["title"], tuple(pages)))
    return groups


def name_of(file: str) -> str:
    return "index.html" if file == "README.md" else f"{Path(file).stem.lower()}.html"


def not_placed(root: Path, groups: list[Group]) -> list[str]:
    placed = [page.source for group in groups for page in group.pages]
    twice = {page for page in placed if placed.count(page) > 1}
    missing = sorted(set((root / "docs").rglob("*.md")) - set(placed))
    return [
        *(f"{page.relative_to(root)} stands nowhere in navigation.toml." for page in missing),
        *(f"{page.relative_to(root)} stands twice in navigation.toml." for page in sorted(twice)),
    ]


def make(root: Path) -> Site:
    """The whole site in memory, and what is wrong with it."""
    groups = navigation(root)
    site = Site([], wrong=not_placed(root, groups))
    names = {page.source: page.name for group in groups for page in group.pages}
    for group in groups:
        written = []
        for page in group.pages:
            rendered = render(page.source, root, names)
            _carry(site, page, rendered)
            title = rendered.title or page.label
            written.append(
                Page(page.source, page.name, page.label, title, rendered.html, rendered.headings)
            )
        site.groups.append(Group(group.title, tuple(written)))
    _fill(site)
    site.files["site.css"] = (HERE / "site.css").read_bytes()
    # The pages' own sheet of named values: the site has no colours of its own.
    site.files["values.css"] = (root / STATIC / "values.css").read_bytes()
    site.files["mark.svg"] = (root / STATIC / "mark.svg").read_bytes()
    site.wrong += wrong_with(site.files)
    return site


def _carry(site: Site, page: Page, rendered: Rendered) -> None:
    """Take along what a page shows or links to that is no page itself."""
    for name, file in rendered.files.items():
        if file.is_file():
            site.files[name] = file.read_bytes()
        else:
            site.wrong.append(f"{page.name}: {file.name} is not there.")


def _fill(site: Site) -> None:
    templates = Environment(
        loader=FileSystemLoader(HERE), autoescape=True, undefined=StrictUndefined
    )
    template = templates.get_template("page.html")
    pages = [page for group in site.groups for page in group.pages]
    for before, page, after in zip([None, *pages], pages, [*pages[1:], None], strict=False):
        text = template.render(page=page, groups=site.groups, before=before, after=after)
        site.files[page.name] = text.encode()


def write(site: Site, folder: Path) -> None:
    """Put the site into `folder`: empty, new, or written by us before.

    Raises SiteError, with nothing written, if something is wrong with the site or the folder.
    """
    if site.wrong:
        raise SiteError("\n".join(site.wrong))
    ours = folder / OURS
    if folder.exists() and any(folder.iterdir()) and not ours.exists():
        raise SiteError(f"{folder} holds something else. Name an empty or a new folder.")
    if ours.exists():
        for name in ours.read_text(encoding="utf-8").splitlines():
            if name not in site.files:
                (folder / name).unlink(missing_ok=True)
    for name, content in site.files.items():
        file = folder / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(content)
    ours.write_text("".join(f"{name}\n" for name in sorted(site.files)), encoding="utf-8")


def main(argv: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="sh deploy/docs", description=__doc__)
    parser.add_argument(
        "folder", nargs="?", type=Path, default=ROOT / ".data/site", help="where (.data/site)"
    )
    options = parser.parse_args(argv)
    try:
        site = make(ROOT)
        write(site, options.folder)
    except SiteError as problem:
        print(f"The site was not written.\n{problem}", file=sys.stderr)
        return 1
    pages = sum(name.endswith(".html") for name in site.files)
    print(f"{pages} pages. Open {(options.folder / 'index.html').resolve()} in a browser.")
    return 0


if __name__ == "__main__":
    sys.exit(main())
