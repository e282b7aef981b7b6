"""deploy/watch, checked by Prometheus's own tool (Debian's package prometheus)."""

import subprocess
from pathlib import Path

import yaml

WATCH = Path(__file__).parents[2] / "deploy/watch"


def promtool(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(["promtool", *arguments], capture_output=True, text=True, check=False)


def test_the_alert_rules_are_rules() -> None:
    checked = promtool("check", "rules", str(WATCH / "alerts.yml"))
    assert checked.returncode == 0, checked.stdout + checked.stderr
    assert "SUCCESS" in checked.stdout


def test_the_configuration_is_one_as_shipped() -> None:
    checked = promtool("check", "config", "--syntax-only", str(WATCH / "prometheus.yml"))
    assert checked.returncode == 0, checked.stdout + checked.stderr


def test_with_the_file_of_the_token_that_setup_makes_nothing_is_missing(tmp_path: Path) -> None:
    shipped = (WATCH / "prometheus.yml").read_text()
    place = yaml.safe_load(shipped)["scrape_configs"][0]["authorization"]["credentials_file"]
    (tmp_path / "token").write_text("a-token-for-this-test")
    (tmp_path / "alerts.yml").write_text((WATCH / "alerts.yml").read_text())
    file = tmp_path / "prometheus.yml"
    file.write_text(shipped.replace(place, str(tmp_path / "token")))
    checked = promtool("check", "config", str(file))
    assert checked.returncode == 0, checked.stdout + checked.stderr
    assert "SUCCESS" in checked.stdout


def test_it_would_find_a_rule_that_is_none(tmp_path: Path) -> None:
    file = tmp_path / "alerts.yml"
    file.write_text((WATCH / "alerts.yml").read_text().replace("expr: ", "expr: sum(", 1))
    assert promtool("check", "rules", str(file)).returncode != 0
