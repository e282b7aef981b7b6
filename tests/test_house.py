"""The house rules: layout, locks, lint, format, types, imports and sizes of the whole project."""

import ast
import importlib
import importlib.metadata
import os
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[1]
SERVICE = ROOT / "service/rungwise"
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())
SOURCES = sorted(SERVICE.rglob("*.py"))
SHELL_SCRIPTS = ["deploy/try", "deploy/test", "deploy/lock", "deploy/environment.sh", ".ci/run"]
SHELL_SCRIPTS += ["deploy/install", "deploy/backup", "deploy/rungwise"]
SHELL_SCRIPTS += ["deploy/audit", "deploy/licences", "deploy/docs"]

TOP_LEVEL = {
    *("README.md", "DEVELOPERS.md", "pyproject.toml"),
    *("service", "migrations", "tests", "deploy", "docs"),
}

MOST_FILE_LINES = 420
MOST_FUNCTION_LINES = 60
# Longer on purpose, each with its reason: "folder/file.py" or "folder/file.py:function".
LONGER_WITH_REASON: dict[str, str] = {}

PURE = ("concepts", "ladder", "reply", "wording", "evidence")
PURE_MAY_IMPORT = {
    *("__future__", "abc", "bisect", "collections", "dataclasses", "datetime", "decimal", "enum"),
    *("fractions", "functools", "hashlib", "heapq", "importlib", "itertools", "json", "math"),
    *("operator", "random", "re", "statistics", "string", "tomllib", "types", "typing"),
    *("unicodedata", "zoneinfo", "numpy", "rapidfuzz", "resvg_py"),
    *("pathlib", "xml"),  # to find tables and fonts once, and to escape text in drawings
}
# A page of docs writes itself when its module is run as a command.
# A checksum that is the same everywhere needs zlib.
PURE_MAY_ALSO_IMPORT = {
    "wording/page_of_texts.py": {"sys"},
    "reply/second/ngrams.py": {"zlib"},
}
# Reading the clock, the environment or the world; a pure package is given what it needs.
PURE_MAY_NOT_CALL = {"now", "today", "utcnow", "getenv", "open", "print", "input", "write_text"}


def run(*command: str) -> None:
    done = subprocess.run(
        command, cwd=ROOT, capture_output=True, text=True, stdin=subprocess.DEVNULL, check=False
    )
    assert done.returncode == 0, f"{' '.join(command)}\n{done.stdout}{done.stderr}"


def name_of(source: Path) -> str:
    return source.relative_to(SERVICE).as_posix()


@cache
def tree_of(source: Path) -> ast.Module:
    return ast.parse(source.read_text())


# --- lint, format, types, imports -----------------------------------------------------------------


def test_types() -> None:
    run(sys.executable, "-m", "mypy")


def test_lint() -> None:
    run(sys.executable, "-m", "ruff", "check", ".")


def test_format() -> None:
    run(sys.executable, "-m", "ruff", "format", "--check", ".")


def test_import_contracts() -> None:
    run(str(Path(sys.executable).with_name("lint-imports")))


@pytest.mark.parametrize("script", SHELL_SCRIPTS)
def test_shell_scripts_parse_and_are_clean(script: str) -> None:
    run("bash" if script == ".ci/run" else "sh", "-n", script)
    run("shellcheck", "-x", script)


# --- layout ---------------------------------------------------------------------------------------


def top_level_names() -> set[str]:
    listed = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    if listed.returncode == 0:
        return {name.partition("/")[0] for name in listed.stdout.split("\0") if name}
    # Not a git checkout: what installing leaves behind is no part of it.
    return {path.name for path in ROOT.iterdir() if path.suffix != ".egg-info"} - {"build"}


def test_top_level_holds_only_the_agreed_names() -> None:
    visible = {name for name in top_level_names() if not name.startswith(".")}
    assert visible == TOP_LEVEL


def test_readme_opens_with_the_job_then_the_two_commands() -> None:
    text = (ROOT / "README.md").read_text()
    title, job, *_ = [part for part in text.split("\n\n") if part.strip()]
    assert title.startswith("# ")
    assert len(job.split()) >= 40
    assert not job.lstrip().startswith(("#", "```", "- ", "!["))
    assert text.index(job) < text.index("sh deploy/try") < text.index("sh deploy/test")


PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").rglob("*.md"))]


def test_docs_name_only_files_that_exist() -> None:
    for page in PAGES:
        text = page.read_text()
        named = re.findall(
            r"(?<![\w./-])(?:service|migrations|tests|deploy|docs|\.ci)/[\w./*-]*", text
        )
        gone = [name for name in named if not any(ROOT.glob(name.rstrip("./")))]
        assert not gone
        linked = re.findall(r"\]\((?!http)([^)#]+)", text)
        assert not [name for name in linked if not (page.parent / name).exists()]


def test_developers_page_names_every_long_run() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text()
    runs = [path for path in (ROOT / "tests").rglob("*.py") if "__main__" in path.read_text()]
    others = [path.relative_to(ROOT).as_posix() for path in runs if path != Path(__file__)]
    assert not [name for name in others if name not in text]


def test_ci_runs_the_test_command() -> None:
    lines = (ROOT / ".ci/run").read_text().splitlines()
    assert lines[1] == "set -eu"
    assert lines[-1] == "sh deploy/test"


# --- the locks ------------------------------------------------------------------------------------


def locked(file: str) -> dict[str, list[Requirement]]:
    """The entries of a lock by name; one name may have several, for different Pythons."""
    entries: dict[str, list[Requirement]] = {}
    for entry in (ROOT / "deploy" / file).read_text().replace("\\\n", " ").splitlines():
        requirement, *hashes = entry.split(" --hash=sha256:")
        parsed = Requirement(requirement)
        assert hashes, f"{file}: {parsed.name} has no hash"
        assert all(len(value.strip()) == 64 for value in hashes)
        assert [part.operator for part in parsed.specifier] == ["=="], f"{file}: {parsed}"
        entries.setdefault(canonicalize_name(parsed.name), []).append(parsed)
    return entries


SERVED = [*PROJECT["project"]["dependencies"], *PROJECT["dependency-groups"]["build"]]
FOR_DOCS = PROJECT["dependency-groups"]["docs"]
OPTIONAL = PROJECT["project"]["optional-dependencies"]
FOR_TESTS = [line for extra in OPTIONAL.values() for line in extra]
# Each lock with what it must hold; all hold what installing the project itself takes.
LOCKS = [
    ("requirements.txt", SERVED),
    ("requirements-sign-in.txt", [*SERVED, *OPTIONAL["sign-in"]]),
    ("requirements-test.txt", [*SERVED, *FOR_DOCS, *FOR_TESTS]),
    ("requirements-docs.txt", [*PROJECT["dependency-groups"]["build"], *FOR_DOCS]),
]


@pytest.mark.parametrize(("file", "wanted"), LOCKS)
def test_locks_hold_what_pyproject_asks_for(file: str, wanted: list[str]) -> None:
    entries = locked(file)
    for line in wanted:
        asked = Requirement(line)
        for entry in entries[canonicalize_name(asked.name)]:
            version = next(iter(entry.specifier)).version
            assert asked.specifier.contains(version), f"{file} has {entry}; run sh deploy/lock"


def needed(lines: list[str]) -> set[str]:
    """Names of everything that `lines` need here, by the installed packages' own word."""
    waiting = [(Requirement(line), "") for line in lines]
    done: set[tuple[str, str]] = set()
    while waiting:
        asked, extra_of_asker = waiting.pop()
        if asked.marker and not asked.marker.evaluate({"extra": extra_of_asker}):
            continue
        for extra in ("", *asked.extras):
            if (canonicalize_name(asked.name), extra) not in done:
                done.add((canonicalize_name(asked.name), extra))
                more = importlib.metadata.requires(asked.name) or []
                waiting += [(Requirement(line), extra) for line in more]
    return {name for name, _ in done}


@pytest.mark.parametrize(("file", "wanted"), LOCKS)
def test_locks_hold_nothing_missing_and_nothing_left_over(file: str, wanted: list[str]) -> None:
    here = {
        name
        for name, entries in locked(file).items()
        if any(entry.marker is None or entry.marker.evaluate() for entry in entries)
    }
    assert here == needed(wanted), "run sh deploy/lock"


@pytest.mark.parametrize(
    "file", ["requirements.txt", "requirements-sign-in.txt", "requirements-docs.txt"]
)
def test_tests_run_on_the_versions_that_are_served(file: str) -> None:
    tested = locked("requirements-test.txt")
    for name, entries in locked(file).items():
        assert [str(entry) for entry in tested[name]] == [str(entry) for entry in entries]


def test_no_registry_address_in_locks_or_scripts() -> None:
    for path in [*(ROOT / "deploy").iterdir(), ROOT / "pyproject.toml", ROOT / ".ci/run"]:
        # What explains the settings needs addresses; a test of its own looks at those.
        if path.is_file() and path.suffix != ".example":
            assert "://" not in path.read_text(), path


def test_oldest_python_is_said_once() -> None:
    oldest = PROJECT["project"]["requires-python"].removeprefix(">=")
    assert f"\noldest={oldest} " in (ROOT / "deploy/environment.sh").read_text()
    assert PROJECT["tool"]["mypy"]["python_version"] == oldest
    assert PROJECT["tool"]["ruff"]["target-version"] == "py" + oldest.replace(".", "")


# --- the code -------------------------------------------------------------------------------------


def test_every_folder_of_code_is_a_package() -> None:
    for source in SOURCES:
        assert (source.parent / "__init__.py").exists(), source


def test_every_module_imports() -> None:
    for source in SOURCES:
        parts = source.relative_to(SERVICE.parent).with_suffix("").parts
        importlib.import_module(".".join(parts).removesuffix(".__init__"))


# Heavy, and only for what is asked for now and then: a PDF, a PNG, a new password, a picture.
LOADED_WHEN_NEEDED = {"fpdf", "PIL", "fontTools", "resvg_py", "zxcvbn", "matplotlib"}


def test_the_app_loads_nothing_heavy() -> None:
    asked = "import rungwise.app, sys; print(*sys.modules)"
    loaded = subprocess.run(
        [sys.executable, "-c", asked],
        env={**os.environ, "PYTHONPATH": str(SERVICE.parent)},
        capture_output=True,
        text=True,
        check=True,
    )
    assert "rungwise.app" in loaded.stdout.split()
    assert LOADED_WHEN_NEEDED & set(loaded.stdout.split()) == set()


def test_every_module_says_what_it_is() -> None:
    for source in SOURCES:
        tree = tree_of(source)
        assert ast.get_docstring(tree) or not tree.body


def sizes() -> Iterator[tuple[str, int, int]]:
    """Name, lines and most lines of each file and function."""
    for source in SOURCES:
        yield name_of(source), len(source.read_text().splitlines()), MOST_FILE_LINES
        for node in ast.walk(tree_of(source)):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                assert node.end_lineno
                lines = node.end_lineno - node.lineno + 1
                yield f"{name_of(source)}:{node.name}", lines, MOST_FUNCTION_LINES


def test_files_and_functions_stay_small() -> None:
    long = {name: lines for name, lines, most in sizes() if lines > most}
    assert long.keys() == LONGER_WITH_REASON.keys(), long
    assert all(LONGER_WITH_REASON.values())


PURE_SOURCES = [source for source in SOURCES if name_of(source).split("/")[0] in PURE]
PURE_SOURCES.extend((SERVICE / "ticks/due.py", SERVICE / "time_zone.py"))


def imported_by(source: Path) -> Iterator[str]:
    for node in ast.walk(tree_of(source)):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports are written in full"
            yield node.module or ""


def test_pure_packages_import_only_values() -> None:
    for source in PURE_SOURCES:
        ours = ("rungwise.errors", "rungwise.time_zone", *(f"rungwise.{name}" for name in PURE))
        allowed = PURE_MAY_IMPORT | PURE_MAY_ALSO_IMPORT.get(name_of(source), set())
        for module in imported_by(source):
            mine = any(module == name or module.startswith(name + ".") for name in ours)
            assert mine or module.split(".")[0] in allowed, module


def test_pure_packages_neither_look_nor_act() -> None:
    for source in PURE_SOURCES:
        for node in ast.walk(tree_of(source)):
            if isinstance(node, ast.Call):
                called = node.func
                name = (
                    called.attr if isinstance(called, ast.Attribute) else getattr(called, "id", "")
                )
                assert name not in PURE_MAY_NOT_CALL, f"line {node.lineno}: {name}()"
            assert not isinstance(node, ast.Global), f"line {node.lineno}: global state"


@pytest.mark.parametrize("package", PURE)
def test_pure_packages_open_with_a_table_of_contents(package: str) -> None:
    module = importlib.import_module(f"rungwise.{package}")
    imported = {
        alias.asname or alias.name
        for node in tree_of(SERVICE / package / "__init__.py").body
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
    }
    assert imported
    assert imported == set(module.__all__)
