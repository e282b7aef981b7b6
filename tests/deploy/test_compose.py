"""The compose file and the images: of the specification's form, and in step with the rest."""

import re
import subprocess
import sys
from pathlib import Path

import yaml

from rungwise.settings import PREFIX, Settings

ROOT = Path(__file__).parents[2]
CONTAINER = ROOT / "deploy/container"
COMPOSE = yaml.safe_load((CONTAINER / "compose.yaml").read_text())
SERVICES = COMPOSE["services"]
CONTAINERFILES = sorted(
    path for path in CONTAINER.glob("Containerfile*") if "ignore" not in path.name
)
OURS = ("service", "second", "migrate")


def test_it_has_the_form_of_the_compose_specification() -> None:
    """By the specification's own schema, as the checker ships it."""
    check = [str(Path(sys.executable).with_name("check-jsonschema")), "--builtin-schema"]
    done = subprocess.run(
        [*check, "vendor.compose-spec", str(CONTAINER / "compose.yaml")],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr


def test_the_checker_finds_what_is_wrong(tmp_path: Path) -> None:
    wrong = tmp_path / "compose.yaml"
    wrong.write_text("services:\n  service:\n    imagee: x\n")
    check = [str(Path(sys.executable).with_name("check-jsonschema")), "--builtin-schema"]
    done = subprocess.run(
        [*check, "vendor.compose-spec", str(wrong)], capture_output=True, check=False
    )
    assert done.returncode == 1


def test_what_it_names_is_there() -> None:
    volumes = {
        volume.split(":")[0] for each in SERVICES.values() for volume in each.get("volumes", [])
    }
    assert {name for name in volumes if name[0] not in "./"} == set(COMPOSE["volumes"])
    for name in ("../caddy/Caddyfile",):
        assert name in volumes
        assert (CONTAINER / name).exists()
    networks = {name for each in SERVICES.values() for name in each.get("networks", [])}
    assert networks == set(COMPOSE["networks"])
    for each in SERVICES.values():
        if "build" in each:
            assert (CONTAINER / each["build"]["context"] / each["build"]["dockerfile"]).exists()
        waited = each.get("depends_on", [])
        assert set(waited) <= set(SERVICES)
        mode = each.get("network_mode", "")
        assert not mode or mode.removeprefix("service:") in SERVICES


def test_its_settings_are_settings() -> None:
    for name in OURS:
        given = {key for key in SERVICES[name]["environment"] if key.startswith(PREFIX)}
        assert {key.removeprefix(PREFIX).lower() for key in given} <= set(Settings.model_fields)


def test_only_the_proxy_is_reached_from_outside() -> None:
    assert [name for name, each in SERVICES.items() if "ports" in each] == ["proxy"]
    assert COMPOSE["networks"]["inside"] == {"internal": True}
    assert SERVICES["db"]["networks"] == ["inside"]


def test_ours_have_no_rights_and_write_nowhere() -> None:
    for name in OURS:
        assert SERVICES[name]["read_only"] is True
        assert SERVICES[name]["cap_drop"] == ["ALL"]
        assert SERVICES[name]["security_opt"] == ["no-new-privileges:true"]


def test_images_run_as_no_root_and_hold_their_packages_to_hashes() -> None:
    for file in CONTAINERFILES:
        users = re.findall(r"^USER (\S+)$", file.read_text(), re.MULTILINE)
        assert users, file
        assert users[-1] not in ("root", "0")
    assert "RUN sh deploy/install " in (CONTAINER / "Containerfile").read_text()
    assert "--require-hashes" in (ROOT / "deploy/environment.sh").read_text()


def test_everything_that_is_copied_is_there_and_not_ignored() -> None:
    ignored = (CONTAINER / "Containerfile.dockerignore").read_text().splitlines()
    assert ignored[0] == "*"
    for line in (CONTAINER / "Containerfile").read_text().splitlines():
        if line.startswith("COPY ") and "--from" not in line:
            *sources, _ = line.removeprefix("COPY ").split()
            for source in sources:
                assert (ROOT / source).exists()
                assert f"!{source}" in ignored


def test_the_proxy_asks_for_each_process_where_it_listens() -> None:
    upstreams = SERVICES["proxy"]["environment"]["RUNGWISE_UPSTREAMS"].split()
    assert upstreams == ["kannel:8780", "kannel:8781"]
    assert SERVICES["second"]["command"] == ["serve", "--port", "8781"]
    assert "8781/readyz" in SERVICES["second"]["healthcheck"]["test"][-1]
    caddy = (ROOT / "deploy/caddy/Caddyfile").read_text()
    assert "health_uri /readyz" in caddy
    assert "127.0.0.1:8780 127.0.0.1:8781" in caddy
