"""Pages say what is there: labels of our own pages, files to touch, the boxes of the diagram."""

import re
import tomllib
from pathlib import Path
from xml.etree import ElementTree

import pytest
from told_commands import ROOT

from rungwise.carriers.setup import carriers_from
from rungwise.reply import Context, read
from rungwise.settings import TOGETHER, Settings
from rungwise.wording.texts import LANGUAGES

DOCS = ROOT / "docs"
WEB = ROOT / "service/rungwise/web"


def page(name: str) -> str:
    return (DOCS / name).read_text(encoding="utf-8")


# --- for trainers ---------------------------------------------------------------------------------


def words_of_pages() -> str:
    """Every word that the service's pages can show, without the tags between."""
    templates = [file.read_text(encoding="utf-8") for file in WEB.rglob("*.html")]
    code = [file.read_text(encoding="utf-8") for file in WEB.rglob("*.py")]
    plain = re.sub(r"<[^>]*>|\{\{[^}]*\}\}|\{%[^%]*%\}", " ", "\n".join(templates))
    return " ".join(" ".join([plain, *templates, *code]).split())


@pytest.mark.parametrize("name", ["start.md", "trainers-day.md"])
def test_every_label_is_on_a_page(name: str) -> None:
    labels = set(re.findall(r"(?<![*\w])\*([^*\n]+)\*(?![*\w])", page(name)))
    assert len(labels) >= 10
    shown = words_of_pages()
    parts = {part.strip(" .") for label in labels for part in label.split("…")}
    assert sorted(part for part in parts if part and part not in shown) == []


REPLIES = {
    "20 steady": ("result", "steady", "no"),
    "bit wobbly but ok": ("result", "wobbly", "no"),
    "couldnt do it my sister was here": ("skipped", None, "no"),
    "nearly went over": ("safety_only", None, "unsure"),
    "L20 R18 steady": ("result", "steady", "no"),
    "I fell": ("safety_only", None, "yes"),
}


@pytest.mark.parametrize("words", REPLIES)
def test_the_first_replies_are_read_as_the_page_says(words: str) -> None:
    assert f"`{words}`" in page("start.md")
    reading = read(words, Context(target_s=20, sided=words.startswith("L")))
    assert (reading.kind, reading.steadiness, reading.fall) == REPLIES[words]


# --- for developers -------------------------------------------------------------------------------


def code_naming(pattern: str, *apart_from: str) -> set[str]:
    """Files of the service that a pattern is found in."""
    return {
        name
        for file in (ROOT / "service").rglob("*.py")
        if (name := file.relative_to(ROOT).as_posix()) not in apart_from
        and re.search(pattern, file.read_text(encoding="utf-8"))
    }


def test_adding_a_carrier_names_every_file_that_knows_one() -> None:
    knows = code_naming(
        r'"(kannel|cloud)"|\b(kannel|cloud)_(url|token|secret|access|texts_per_second)',
        "service/rungwise/carriers/kannel.py",
        "service/rungwise/carriers/cloud.py",
        "service/rungwise/web/practice/settings.py",  # an example of a value in a text
        "service/rungwise/wording/page_of_texts.py",  # the same
    )
    assert {name for name in knows if f"`{name}`" not in page("adding-a-carrier.md")} == set()
    assert set(carriers_from(Settings())) | set(TOGETHER) >= {"handset", "kannel", "cloud"}


def test_adding_a_language_names_every_file_that_has_one() -> None:
    text = page("adding-a-language.md")
    by_code = "|".join(LANGUAGES)
    knows = code_naming(rf'^ *"({by_code})": |LANGUAGES: .*"({by_code})"')
    knows |= code_naming(rf'(?m)^ +"({by_code})": ')
    assert knows, "the pattern finds none"
    assert {name for name in knows if f"`{name}`" not in text} == set()
    for file in (ROOT / "service/rungwise/wording").glob("*_en.toml"):
        assert (
            f"`service/rungwise/wording/{file.name}` → `{file.name.replace('_en', '_XX')}`" in text
        )


def test_both_pages_name_only_what_is_in_the_code() -> None:
    for name, words in {
        "adding-a-carrier.md": ("unsendable", "short", "same_secret", "storable", "LONGEST_NAME"),
        "adding-a-language.md": ("_EITHER", "_AT", "_TASKS", "CONSENT_WORDING"),
    }.items():
        for word in words:
            assert f"`{word}" in page(name), word
            assert code_naming(rf"(?m)^(def {word}\(|{word}\b.* = )"), word


def test_developers_page_sends_to_the_one_home_of_each() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert "(docs/adding-a-carrier.md)" in text
    assert "(docs/adding-a-language.md)" in text
    assert "(adding-a-carrier.md)" in page("carriers.md")


def test_the_changelog_has_this_version_and_what_comes() -> None:
    version = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["version"]
    headings = re.findall(r"^## (.+)$", page("changelog.md"), re.MULTILINE)
    assert headings[0] == "Unreleased"
    assert headings[1] == version
    released = {file.stem.replace("_", ".") for file in (ROOT / "tests/store/releases").iterdir()}
    assert released == set(headings[1:])
    (first,) = re.findall(r"migration `(\d+)`", page("changelog.md"))
    assert list((ROOT / "migrations/versions").glob(f"{first}_*.py"))


# --- the diagram ----------------------------------------------------------------------------------

PICTURE = DOCS / "pictures/architecture.svg"
SVG = "{http://www.w3.org/2000/svg}"


def colours(theme: str) -> dict[str, dict[str, str]]:
    """Class or element → property → colour, as the picture's own style has it in a theme."""
    style = ElementTree.parse(PICTURE).getroot().findtext(f"{SVG}style") or ""
    light, _, dark = style.partition("@media (prefers-color-scheme: dark) {")
    found: dict[str, dict[str, str]] = {}
    for part in (light, dark) if theme == "dark" else (light,):
        for names, rules in re.findall(r"([.\w, ]+) \{ ([^}]*) \}", part):
            for name in names.split(","):
                told = dict(re.findall(r"(fill|stroke): (#\w{6})", rules))
                found.setdefault(name.strip().lstrip("."), {}).update(told)
    return found


def contrast(one: str, other: str) -> float:
    """WCAG 2's ratio of two colours, 1 to 21."""

    def light(colour: str) -> float:
        parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
        linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    high, low = sorted((light(one), light(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_the_diagram_says_what_it_shows() -> None:
    root = ElementTree.parse(PICTURE).getroot()
    title, description = root.findtext(f"{SVG}title"), root.findtext(f"{SVG}desc")
    assert title
    assert description
    ids = {child.get("id") for child in root if child.tag in (f"{SVG}title", f"{SVG}desc")}
    assert set((root.get("aria-labelledby") or "").split()) == ids
    assert root.get("role") == "img"
    assert "](pictures/architecture.svg)" in page("architecture.md")


def test_the_diagrams_boxes_are_parts_of_the_service() -> None:
    root = ElementTree.parse(PICTURE).getroot()
    every = [element for element in root.iter() if element.get("class") == "name"]
    named = {str(element.text).partition(":")[0] for element in every}
    folders = {path.name for path in (ROOT / "service/rungwise").iterdir() if path.is_dir()}
    parts = {"carriers", "coach", "reply", "ladder", "wording", "ticks", "store", "web"}
    assert parts <= named & folders
    for part in ("daily/receive.py", "outbox/texts.py"):
        assert f"coach: {Path(part).stem}" in {element.text for element in every}
        assert (ROOT / "service/rungwise/coach" / part).exists()


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_the_diagram_can_be_read_in_both_themes(theme: str) -> None:
    of = colours(theme)
    grounds = [of[name]["fill"] for name in ("paper", "ours", "box", "outside", "pure")]
    inks = [of[name]["fill"] for name in ("text", "red", "soft")]
    assert min(contrast(ink, ground) for ink in inks for ground in grounds) >= 4.5
    lines = [of[name]["stroke"] for name in ("box", "outside", "pure", "way", "ours")]
    assert min(contrast(line, of["ours"]["fill"]) for line in lines) >= 3
