"""The docs site: every page has its place, every link leads somewhere, and it reads anywhere."""

import re
import shutil
import tomllib
from pathlib import Path

import make_site
import pytest
from browsing import THEMES, WIDTHS, Window
from make_site import ROOT, SiteError, main, make, navigation, not_placed, write
from playwright.sync_api import Browser
from site_checks import wrong_with
from site_pages import render, slug


@pytest.fixture
def checkout(tmp_path: Path) -> Path:
    """A small checkout with two pages, to do wrong in."""
    root = tmp_path / "checkout"
    (root / "docs/pictures").mkdir(parents=True)
    (root / "docs/site").mkdir()
    (root / "service/rungwise/web/static").mkdir(parents=True)
    for name in ("mark.svg", "values.css"):
        shutil.copy(
            ROOT / "service/rungwise/web/static" / name, root / "service/rungwise/web/static"
        )
    shutil.copy(ROOT / "docs/pictures/rule-levels.svg", root / "docs/pictures/a.svg")
    (root / "docs/site/navigation.toml").write_text(
        '[[group]]\ntitle = "All"\npages = [\n{ file = "README.md", label = "First" },\n'
        '{ file = "docs/a.md", label = "A" },\n{ file = "docs/later.md", label = "Later" },\n]\n'
    )
    (root / "README.md").write_text("# Title\n\n[A](docs/a.md#second-part)\n")
    (root / "docs/a.md").write_text("# A\n\n## Second part\n\n![words](pictures/a.svg)\n")
    return root


# --- the pages we have ----------------------------------------------------------------------------


def test_every_page_of_the_docs_is_on_the_site_and_every_link_leads_somewhere(
    site_folder: Path,
) -> None:
    sources = [*(ROOT / "docs").rglob("*.md"), ROOT / "README.md", ROOT / "DEVELOPERS.md"]
    pages = list(site_folder.glob("*.html"))
    assert len(pages) == len(sources)
    for page in pages:
        text = page.read_text()
        assert text.count("<h1") == 1, page.name
        assert text.count('aria-current="page"') == 1, page.name


def test_no_page_is_placed_twice_and_no_two_have_one_name() -> None:
    told = tomllib.loads((ROOT / "docs/site/navigation.toml").read_text())
    files = [page["file"] for group in told["group"] for page in group["pages"]]
    assert len(set(files)) == len(files)
    assert len({make_site.name_of(file) for file in files}) == len(files)
    assert not_placed(ROOT, navigation(ROOT)) == []


def test_who_reads_on_from_the_readme_comes_to_every_page() -> None:
    found, waiting = set(), [ROOT / "README.md"]
    while waiting:
        page = waiting.pop()
        if page not in found:
            found.add(page)
            links = re.findall(r"\]\(([^)#:]+\.md)", page.read_text(encoding="utf-8"))
            waiting += [(page.parent / link).resolve() for link in links]
    pages = {page.source for group in navigation(ROOT) for page in group.pages}
    assert sorted(page.name for page in pages - found) == []


def test_nothing_on_it_is_fetched(site_folder: Path) -> None:
    style = (site_folder / "site.css").read_text()
    assert "url(" not in style
    assert "@import" not in style
    assert not list(site_folder.rglob("*.js"))


@pytest.mark.browser
@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("width", WIDTHS)
def test_it_opens_from_the_disk_accessible_and_quiet(
    site_folder: Path, browser: Browser, width: int, theme: str
) -> None:
    window = Window(browser, "", width, theme)
    asked: list[str] = []
    window.page.on("request", lambda request: asked.append(request.url))
    wrong = []
    for name in ("index", "rule"):
        window.page.goto((site_folder / f"{name}.html").as_uri())
        window.page.evaluate("document.querySelector('details').open = true")
        wrong += window.complaints
        wrong += [f"{name} {found}" for found in window.axe()]
        if window.sideways() > 0:
            wrong.append(f"{name} is {window.sideways()} px too wide")
        window.complaints.clear()  # axe asks for the style sheet in a way that a disk refuses
    window.close()
    assert wrong == []
    assert all(url.startswith("file://") for url in asked)
    assert any(url.endswith("site.css") for url in asked)


@pytest.mark.browser
def test_no_page_is_wider_than_a_phone_and_paper_has_only_the_words(
    site_folder: Path, browser: Browser
) -> None:
    window = Window(browser, "", 360)
    for page in sorted(site_folder.glob("*.html")):
        window.page.goto(page.as_uri())
        assert window.sideways() <= 0, page.name
    window.page.emulate_media(media="print")
    assert window.page.locator("main").is_visible()
    assert not window.page.locator("nav.pages").is_visible()
    window.close()


# --- the command ----------------------------------------------------------------------------------


def test_the_command_writes_again_over_its_own_and_takes_away_what_is_gone(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "deep" / "site"
    assert main([str(folder)]) == 0
    assert str(folder / "index.html") in capsys.readouterr().out
    (folder / "mine.txt").write_text("kept")
    (folder / "gone.html").write_text("an old page")
    ours = folder / make_site.OURS
    ours.write_text(ours.read_text() + "gone.html\n")
    assert main([str(folder)]) == 0
    assert (folder / "mine.txt").exists()
    assert not (folder / "gone.html").exists()


def test_a_folder_with_something_else_in_it_is_left_alone(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "letter.txt").write_text("dear")
    assert main([str(tmp_path)]) == 1
    assert "holds something else" in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == ["letter.txt"]


# --- what stops it --------------------------------------------------------------------------------


def test_a_small_site_is_right_and_a_page_to_come_is_left_out(
    checkout: Path, tmp_path: Path
) -> None:
    site = make(checkout)
    assert site.wrong == []
    assert '<a href="a.html#second-part">' in site.files["index.html"].decode()
    assert "later.html" not in site.files
    assert site.files["pictures/a.svg"]
    write(site, tmp_path / "site")


BROKEN = {
    "[x](b.md)": "b.md.txt leads to nothing",
    "[x](a.md#third)": "a.html#third leads to no such place",
    "[x](#third)": "#third leads to no such place",
    "![x](pictures/b.svg)": "b.svg is not there",
    "![](pictures/a.svg)": "has no words",
    '<img src="pictures/a.svg">': "has no words",
    '<img src="pictures/b.svg" alt="x">': "b.svg is not there",
    "![x](https://example.org/a.svg)": "from elsewhere",
    "<script>1</script>": "script or a style",
    '<p onclick="x">a</p>': "script or a style",
    "<div>": "closes something else",
    "[x](../../outside.md)": "leads to nothing",
    '<p id="second-part">a</p>': "stands twice",
}


@pytest.mark.parametrize(("line", "told"), BROKEN.items())
def test_what_would_not_work_stops_it(checkout: Path, tmp_path: Path, line: str, told: str) -> None:
    page = checkout / "docs/a.md"
    page.write_text(f"{page.read_text()}\n{line}\n")
    site = make(checkout)
    assert told in "\n".join(site.wrong)
    with pytest.raises(SiteError, match=r"a\.html"):
        write(site, tmp_path / "site")
    assert not (tmp_path / "site").exists()


def test_a_page_without_a_place_stops_it(checkout: Path) -> None:
    (checkout / "docs/new.md").write_text("# New\n")
    assert make(checkout).wrong == ["docs/new.md stands nowhere in navigation.toml."]


def test_a_file_of_the_checkout_is_taken_along_as_text(checkout: Path) -> None:
    (checkout / "deploy").mkdir()
    (checkout / "deploy/example").write_text("NAME=value")
    page = checkout / "docs/a.md"
    page.write_text(f"{page.read_text()}\n[the settings](../deploy/example)\n")
    site = make(checkout)
    assert site.wrong == []
    assert site.files["files/deploy/example.txt"] == b"NAME=value"


# --- anchors, tables ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("heading", "anchor"),
    [
        ("What it doesn't do", "what-it-doesnt-do"),
        ("The rule: who moves, when", "the-rule-who-moves-when"),
        ("`first`", "first"),
        ("SMS & e-mail", "sms--e-mail"),
        ("Ünder_score", "ünder_score"),
    ],
)
def test_anchors_are_those_of_github(heading: str, anchor: str, tmp_path: Path) -> None:
    page = tmp_path / "page.md"
    page.write_text(f"# {heading}\n\n## {heading}\n")
    html = render(page, tmp_path, {}).html
    assert f'<h1 id="{anchor}">' in html
    assert f'<h2 id="{anchor}-1">' in html


def test_slugs_count_repeats() -> None:
    seen: dict[str, int] = {}
    assert [slug("One", seen) for _ in range(3)] == ["one", "one-1", "one-2"]


def test_what_may_be_wide_scrolls_by_keyboard(tmp_path: Path) -> None:
    page = tmp_path / "page.md"
    page.write_text("# P\n\n| a |\n| --- |\n| b |\n\n```sh\nls\n```\n\n    indented\n")
    html = render(page, tmp_path, {}).html
    assert html.count('class="wide" role="group"') == html.count('tabindex="0"') == 3
    assert wrong_with({"page.html": html.encode()}) == []
