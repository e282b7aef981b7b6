"""The carriers that settings make, and the settings that must not start a service."""

from pathlib import Path

import pytest

from rungwise.carriers.cloud import Cloud
from rungwise.carriers.handset import Handset
from rungwise.carriers.kannel import Kannel
from rungwise.carriers.setup import carriers_from, cloud_access, kannel_access
from rungwise.parts import assemble
from rungwise.settings import Settings, WrongSetting
from rungwise.store import Store
from rungwise.store.moving.migrate import migrate

TOKEN = "a-token_of-our-own-0123456789"
KANNEL = {
    "RUNGWISE_KANNEL_URL": "http://127.0.0.1:13013",
    "RUNGWISE_KANNEL_USERNAME": "rungwise",
    "RUNGWISE_KANNEL_PASSWORD": "pass & word+%41",
    "RUNGWISE_KANNEL_TOKEN": TOKEN,
}
CLOUD = {
    "RUNGWISE_CLOUD_URL": "https://api.example.org/v1",
    "RUNGWISE_CLOUD_ACCOUNT": "AC01",
    "RUNGWISE_CLOUD_SECRET": "quite secret",
    "RUNGWISE_PUBLIC_URL": "https://sms.example.org",
}


def settings(**changes: str | None) -> Settings:
    given = {**KANNEL, **CLOUD, **changes}
    return Settings.from_environment({k: v for k, v in given.items() if v is not None})


def refusal(**changes: str | None) -> str:
    with pytest.raises(WrongSetting) as problem:
        settings(**changes)
    said = str(problem.value)
    assert said.endswith(".")
    for secret in (*KANNEL.values(), *CLOUD.values()):
        if secret in (KANNEL["RUNGWISE_KANNEL_PASSWORD"], CLOUD["RUNGWISE_CLOUD_SECRET"], TOKEN):
            assert secret not in said
    return said


def test_the_handset_is_always_there() -> None:
    carriers = carriers_from(Settings.from_environment({}))
    assert list(carriers) == ["handset"]
    assert isinstance(carriers["handset"], Handset)


def test_the_handsets_own_token_is_new_at_each_start() -> None:
    first, second = (carriers_from(Settings())["handset"] for _ in range(2))
    assert isinstance(first, Handset)
    assert isinstance(second, Handset)
    assert first.token != second.token
    assert len(first.token) >= 32
    kept = carriers_from(Settings(handset_token="x" * 20))["handset"]
    assert isinstance(kept, Handset)
    assert kept.token == "x" * 20


def test_what_is_set_up_is_there_by_name(tmp_path: Path) -> None:
    carriers = carriers_from(settings())
    kinds = {"handset": Handset, "kannel": Kannel, "cloud": Cloud}
    assert {name: type(carrier) for name, carrier in carriers.items()} == kinds
    assert all(carrier.name == name for name, carrier in carriers.items())
    database = f"sqlite:///{tmp_path / 'x.sqlite3'}"
    store = Store(database)
    migrate(store)
    store.close()
    parts = assemble(settings().model_copy(update={"database_url": database}))
    parts.store.close()
    assert set(parts.carriers) == set(kinds)


def test_only_what_is_set_up_is_there() -> None:
    assert set(carriers_from(Settings.from_environment(KANNEL))) == {"handset", "kannel"}
    assert set(carriers_from(Settings.from_environment(CLOUD))) == {"handset", "cloud"}


def test_kannel_calls_us_where_it_is_told_to() -> None:
    inside = settings(RUNGWISE_KANNEL_CALLBACK_URL="http://127.0.0.1:8780/")
    for given, called in (
        (settings(), "https://sms.example.org"),
        (inside, "http://127.0.0.1:8780"),
    ):
        access = kannel_access(given)
        assert access is not None
        assert access.callback_url == called


def test_secrets_may_come_from_files(tmp_path: Path) -> None:
    for name, value in (("password", "from a file"), ("token", TOKEN[::-1])):
        (tmp_path / name).write_text(value + "\n")
    given = settings(
        RUNGWISE_KANNEL_PASSWORD=None,
        RUNGWISE_KANNEL_PASSWORD_FILE=str(tmp_path / "password"),
        RUNGWISE_KANNEL_TOKEN=None,
        RUNGWISE_KANNEL_TOKEN_FILE=str(tmp_path / "token"),
    )
    assert (given.kannel_password, given.kannel_token) == ("from a file", TOKEN[::-1])


def test_secrets_are_not_shown() -> None:
    given = settings(RUNGWISE_HANDSET_TOKEN="h" * 20, RUNGWISE_DATABASE_URL="postgresql://u:pw@h/d")
    shown = repr(given) + str(given) + repr(kannel_access(given)) + repr(cloud_access(given))
    for secret in (KANNEL["RUNGWISE_KANNEL_PASSWORD"], TOKEN, "quite secret", "h" * 20, "pw@"):
        assert secret not in shown


@pytest.mark.parametrize("name", KANNEL)
def test_half_of_kannels_settings_do_not_start(name: str) -> None:
    assert name in refusal(**{name: None})


@pytest.mark.parametrize("name", [name for name in CLOUD if "CLOUD" in name])
def test_half_of_the_clouds_settings_do_not_start(name: str) -> None:
    assert name in refusal(**{name: None})


WRONG = [
    ("RUNGWISE_KANNEL_URL", "127.0.0.1:13013"),
    ("RUNGWISE_KANNEL_URL", "ftp://127.0.0.1"),
    ("RUNGWISE_KANNEL_URL", "http://"),
    ("RUNGWISE_KANNEL_URL", "http://user:pw@127.0.0.1"),
    ("RUNGWISE_KANNEL_URL", "http://127.0.0.1/?x=1"),
    ("RUNGWISE_KANNEL_URL", "http://127.0.0.1:99999"),
    ("RUNGWISE_KANNEL_URL", ""),
    ("RUNGWISE_KANNEL_USERNAME", ""),
    ("RUNGWISE_KANNEL_USERNAME", "two\nlines"),
    ("RUNGWISE_KANNEL_PASSWORD", "naïve"),
    ("RUNGWISE_KANNEL_PASSWORD", " spaces around "),
    ("RUNGWISE_KANNEL_TOKEN", "short"),
    ("RUNGWISE_KANNEL_TOKEN", "with spaces and % signs"),
    ("RUNGWISE_KANNEL_TOKEN", "@KANNEL_TOKEN_NOT_REPLACED@"),
    ("RUNGWISE_KANNEL_CALLBACK_URL", "http://127.0.0.1/%d"),
    ("RUNGWISE_CLOUD_URL", "http://api.example.org"),
    ("RUNGWISE_CLOUD_ACCOUNT", ""),
    ("RUNGWISE_CLOUD_SECRET", ""),
    ("RUNGWISE_CLOUD_SIGNATURE_HEADER", ""),
    ("RUNGWISE_PUBLIC_URL", "http://sms.example.org"),
    ("RUNGWISE_PUBLIC_URL", "http://127.0.0.1:8780"),
    ("RUNGWISE_PUBLIC_URL", "sms.example.org"),
]


@pytest.mark.parametrize(("name", "value"), WRONG)
def test_a_wrong_setting_is_named(name: str, value: str) -> None:
    assert name in refusal(**{name: value})


def test_a_misspelt_setting_of_a_carrier_is_named() -> None:
    assert "RUNGWISE_KANNEL_USER." in refusal(RUNGWISE_KANNEL_USER="rungwise")
    assert "RUNGWISE_CLOUD_TOKEN_FILE." in refusal(RUNGWISE_CLOUD_TOKEN_FILE="/x")


def test_a_file_that_cannot_be_read_is_named(tmp_path: Path) -> None:
    binary = tmp_path / "binary"
    binary.write_bytes(b"\xff\xfe")
    for file in (tmp_path / "missing", tmp_path, binary):
        said = refusal(RUNGWISE_CLOUD_SECRET=None, RUNGWISE_CLOUD_SECRET_FILE=str(file))
        assert str(file) in said
        assert "RUNGWISE_CLOUD_SECRET_FILE" in said


def test_a_secret_given_twice_is_refused(tmp_path: Path) -> None:
    (tmp_path / "secret").write_text("other")
    assert "both" in refusal(RUNGWISE_CLOUD_SECRET_FILE=str(tmp_path / "secret"))


def test_a_rehearsal_of_the_cloud_may_stay_on_this_machine() -> None:
    given = settings(
        RUNGWISE_CLOUD_URL="http://127.0.0.1:9000", RUNGWISE_PUBLIC_URL="http://localhost:8780"
    )
    assert cloud_access(given) is not None
