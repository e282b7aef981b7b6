"""The alert rules, the scrape file and the dashboard: well formed, and about what there is."""

import json
import re
from pathlib import Path

import promql_parser
import pytest
import yaml
from test_metrics import TOKEN, served
from web_world import World

from rungwise.coach.monitoring.metrics import CarrierFigures, Figures
from rungwise.web.http.metrics import exposed

WATCH = Path(__file__).parents[2] / "deploy/watch"
RULES = yaml.safe_load((WATCH / "alerts.yml").read_text())["groups"]
BOARD = json.loads((WATCH / "dashboard.json").read_text())
# What Prometheus itself says of each target.
OF_PROMETHEUS = {"up": {"job"}}
OPERATING = Path(__file__).parents[2] / "docs/operating.md"


def asked() -> list[tuple[str, str]]:
    """Where each question to Prometheus stands, and the question."""
    found = [(f"alert {rule['alert']}", rule["expr"]) for group in RULES for rule in group["rules"]]
    for panel in BOARD["panels"]:
        for target in panel["targets"]:
            # What Grafana fills in before it asks.
            question = target["expr"].replace("$__rate_interval", "1m")
            found.append((f"panel {panel['title']}", question))
    return found


def selectors(node) -> list[promql_parser.VectorSelector]:
    """Every metric that a question names, with its labels."""
    if isinstance(node, promql_parser.VectorSelector):
        return [node]
    if isinstance(node, promql_parser.MatrixSelector):
        return [node.vector_selector]
    inner = [getattr(node, name, None) for name in ("expr", "lhs", "rhs")]
    inner += list(getattr(node, "args", ()) or ())
    return [found for one in inner if one is not None for found in selectors(one)]


def families(world: World) -> dict[str, set[str]]:
    """Every sample's name that /metrics can give, with its labels."""
    parts = served(world)
    parts.meters.answers.observe(1)
    parts.meters.sent.labels("handset", "accepted").inc()
    parts.meters.requests.labels("page", "2xx").observe(1)
    parts.meters.webhook_calls.labels("taken").inc()
    carriers = (CarrierFigures("handset", 0, 0.0, down=False),)
    at = world.clock.now()
    figures = Figures(0.0, 0, 0, 0.0, 0, 0.0, 0, 0, 0.0, carriers, {"due": at})
    asking = {"Authorization": f"Bearer {TOKEN}"}
    text = exposed(figures).decode()
    text += world.browser().get("/metrics", headers=asking).text
    found: dict[str, set[str]] = {}
    for line in text.splitlines():
        if line and not line.startswith("#"):
            name, labels = re.fullmatch(r"(\w+)(?:\{(.*)\})? \S+", line).groups()
            found.setdefault(name, set()).update(re.findall(r'(\w+)="', labels or ""))
    return found


@pytest.mark.parametrize(("where", "question"), asked())
def test_every_question_can_be_asked(where: str, question: str) -> None:
    assert promql_parser.parse(question), where


def test_every_metric_and_label_asked_for_is_there_and_every_one_is_asked_for(
    world: World,
) -> None:
    there = families(world)
    used = set()
    for where, question in asked():
        found = selectors(promql_parser.parse(question))
        assert found, where
        for one in found:
            if one.name in OF_PROMETHEUS:
                continue
            assert one.name in there, f"{where}: {one.name}"
            used.add(one.name)
            for matcher in one.matchers.matchers:
                assert matcher.name in there[one.name], f"{where}: {matcher.name}"
        for labels in re.findall(r"by \(([^)]*)\)", question):
            for label in labels.split(", "):
                assert any(label in there.get(one.name, ()) for one in found), f"{where}: {label}"
    told = OPERATING.read_text()
    helpers = ("_created", "_sum", "_count", "_bucket")
    alone = {name for name in there if not name.endswith(helpers)}
    assert alone - used == set(), "nobody looks at these"
    assert [name for name in alone if f"`{name}`" not in told] == []
    assert {"rungwise_answer_seconds_bucket", "rungwise_http_request_seconds_count"} <= used


def test_each_alert_says_what_is_wrong_what_to_do_and_how_grave_it_is() -> None:
    names = [rule["alert"] for group in RULES for rule in group["rules"]]
    assert len(set(names)) == len(names)
    told = OPERATING.read_text()
    for group in RULES:
        assert set(group) == {"name", "rules"}
        for rule in group["rules"]:
            assert set(rule) <= {"alert", "expr", "for", "labels", "annotations"}, rule
            assert rule["labels"]["severity"] in ("page", "ticket")
            assert set(rule["annotations"]) == {"summary", "do"}
            assert all(text.endswith(".") for text in rule["annotations"].values()), rule
            assert re.fullmatch(r"\d+[sm]", rule.get("for", "1m"))
            assert f"`{rule['alert']}`" in told, "docs/operating.md says what to do about it"


def test_the_scrape_file_names_the_rules_and_asks_where_the_service_listens() -> None:
    asks = yaml.safe_load((WATCH / "prometheus.yml").read_text())
    assert asks["rule_files"] == ["alerts.yml"]
    (job,) = asks["scrape_configs"]
    assert job["job_name"] == "rungwise"
    assert job["static_configs"][0]["targets"] == ["127.0.0.1:8780"]


def test_the_dashboard_shows_each_panel_once_and_none_over_another() -> None:
    panels = BOARD["panels"]
    assert len({panel["id"] for panel in panels}) == len(panels) >= 12
    assert BOARD["templating"]["list"][0]["name"] == "source"
    taken: set[tuple[int, int]] = set()
    for panel in panels:
        assert panel["description"].endswith(".")
        assert panel["datasource"]["uid"] == "${source}"
        place = panel["gridPos"]
        assert place["x"] + place["w"] <= 24
        cells = {
            (x, y)
            for x in range(place["x"], place["x"] + place["w"])
            for y in range(place["y"], place["y"] + place["h"])
        }
        assert not cells & taken, panel["title"]
        taken |= cells
