"""The configuration that we ship and the page that explains it agree with the code."""

import re
from pathlib import Path

import pytest
from kannel_process import BEARERBOX, CONFIG, active, need

from rungwise.carriers.checks import MOST_PARTS
from rungwise.carriers.wire import CONNECT_S, READ_S
from rungwise.settings import PREFIX, Settings
from rungwise.web.callbacks.routes import LARGEST_BODY

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs/carriers.md").read_text()
SETTINGS = [name for name in Settings.model_fields if name.startswith(("kannel_", "cloud_"))]


def groups() -> dict[str, dict[str, str]]:
    """The shipped configuration: group → variable → value."""
    found: dict[str, dict[str, str]] = {}
    for line in active(CONFIG.read_text()):
        name, _, value = line.partition(" = ")
        if name == "group":
            here = found.setdefault(value, {})
            assert not here, f"{value} is there twice"
        if name:
            here[name] = value.strip('"')
    return found


@pytest.mark.parametrize("name", [*SETTINGS, "public_url"])
def test_every_setting_of_a_carrier_is_explained(name: str) -> None:
    assert f"| `{PREFIX}{name.upper()}` |" in PAGE


def test_the_page_names_no_setting_that_is_not_there() -> None:
    named = set(re.findall(rf"{PREFIX}([A-Z_]+)", PAGE)) - {"X", "X_FILE"}
    assert {name.lower() for name in named} <= set(Settings.model_fields)


def test_every_word_to_replace_is_explained() -> None:
    words = set(re.findall(r"@[A-Z_]+@", "\n".join(active(CONFIG.read_text()))))
    assert words == set(re.findall(r"@[A-Z_]+@", PAGE))


def test_the_configuration_holds_no_secret() -> None:
    for variables in groups().values():
        for name, value in variables.items():
            if "password" in name or "username" in name:
                assert re.fullmatch(r"@[A-Z_]+@", value)


def test_kannel_sends_as_many_parts_as_we_do() -> None:
    user = groups()["sendsms-user"]
    assert int(user["max-messages"]) == MOST_PARTS
    assert user["concatenation"] == "true"
    assert f"more than {MOST_PARTS} segments" in PAGE


def test_kannel_listens_to_this_machine_only() -> None:
    of = groups()
    inside = "127.0.0.1"
    assert of["core"]["admin-interface"] == of["core"]["smsbox-interface"] == inside
    assert of["smsbox"]["sendsms-interface"] == of["sendsms-user"]["user-allow-ip"] == inside
    assert of["sendsms-user"]["user-deny-ip"] == "*.*.*.*"


def test_kannel_never_answers_a_client_by_itself() -> None:
    service = groups()["sms-service"]
    assert service["max-messages"] == "0"
    assert service["omit-empty"] == "true"
    assert service["catch-all"] == "true"


def test_kannel_logs_no_texts() -> None:
    of = groups()
    assert all(int(of[group]["log-level"]) >= 3 for group in ("core", "smsc", "smsbox"))
    assert not any("access-log" in variables for variables in of.values())


def test_what_waits_in_the_bearerbox_is_on_disk() -> None:
    core = groups()["core"]
    assert core["store-type"] == core["dlr-storage"] == "spool"
    for folder in (core["store-location"], core["dlr-spool"]):
        assert folder in PAGE


def test_the_port_is_the_services_own() -> None:
    service = groups()["sms-service"]
    port = Settings.model_fields["port"].default
    assert f"127.0.0.1:{port}/in/kannel?id=%I" in service["post-url"]


def test_the_figures_on_the_page_are_the_codes() -> None:
    assert f"none in {CONNECT_S:g} s" in PAGE
    assert f"no answer comes in {READ_S:g} s" in PAGE
    assert f"larger than {LARGEST_BODY // 1024} KB" in PAGE


def test_without_kannel_the_tests_fail_and_say_how_to_get_it() -> None:
    with pytest.raises(FileNotFoundError, match="Run `sh deploy/test`"):
        need(BEARERBOX.with_name("no-such-box"))
