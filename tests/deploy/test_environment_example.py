"""deploy/environment.example explains every setting, with its default, and nothing else."""

import re
import subprocess
from pathlib import Path

import pytest

from rungwise.commands.environment_file import LINE, parse
from rungwise.settings import PREFIX, Settings

FILE = Path(__file__).parents[2] / "deploy/environment.example"
TEXT = FILE.read_text(encoding="utf-8")


def explained() -> dict[str, tuple[str, str]]:
    """By setting: the words above its line, and the value that stands there as an example."""
    found: dict[str, tuple[str, str]] = {}
    words: list[str] = []
    for line in TEXT.splitlines():
        match = LINE.fullmatch(line.removeprefix("#"))
        if match and not line.startswith("# "):
            name = match[1].removeprefix(PREFIX).lower()
            found.setdefault(name, (" ".join(words), match[2]))
        elif line.startswith("#"):
            words.append(line.removeprefix("#").strip())
        else:
            words = []
            assert not line, f"neither a remark nor a setting: {line}"
    return found


EXPLAINED = explained()
FIELDS = Settings.model_fields


def test_every_setting_is_explained_and_nothing_else() -> None:
    assert set(EXPLAINED) == set(FIELDS)


@pytest.mark.parametrize("name", FIELDS)
def test_a_setting_is_said_with_its_default(name: str) -> None:
    words, _ = EXPLAINED[name]
    default = FIELDS[name].default
    if default is None:
        assert "(not set by default" in words
    else:
        shown = str(default).lower() if isinstance(default, bool) else str(default)
        assert f"(default: {shown})" in words


def test_what_is_secret_is_called_so() -> None:
    """Those whose value no error and no log may show."""
    for name, field in FIELDS.items():
        if not field.repr and "password" not in name:
            assert "ecret" in EXPLAINED[name][0], name


def test_with_every_remark_taken_away_the_settings_can_be_used() -> None:
    taken = "\n".join(f"{PREFIX}{name.upper()}={value}" for name, (_, value) in EXPLAINED.items())
    values = parse(taken)
    values[f"{PREFIX}DATA_KEYS"] = "x" * 43
    settings = Settings.from_environment(values)
    assert settings.model_fields_set == set(FIELDS)


def test_as_it_comes_it_sets_nothing_and_the_shell_takes_it() -> None:
    assert parse(TEXT) == {}
    done = subprocess.run(
        ["sh", "-c", f". {FILE}; env"], capture_output=True, text=True, check=True
    )
    assert PREFIX not in done.stdout
    assert done.stderr == ""


def test_no_line_is_longer_than_a_screen() -> None:
    assert [line for line in TEXT.splitlines() if len(line) > 100] == []
    assert not re.search(r"[ \t]$", TEXT, re.MULTILINE)


def test_its_addresses_are_examples_or_on_this_machine() -> None:
    hosts = re.findall(r"(?:https?|udp)://([^/:\s]+)", TEXT)
    assert hosts
    assert [
        host
        for host in hosts
        if host not in ("host", "127.0.0.1") and not host.endswith("example.org")
    ] == []
