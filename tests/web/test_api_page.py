"""The API's page and description are written from the code, and what they tell is so."""

import json
import re
import time
from datetime import UTC, datetime
from pathlib import Path

import pytest
from standardwebhooks.webhooks import Webhook

from rungwise.carriers.hooks import new_secret
from rungwise.coach.accounts.api_tokens import ACTS_KEPT, SCOPES
from rungwise.coach.outbox.webhook_calls import GIVE_UP_AFTER, KINDS, WAITS
from rungwise.settings import Settings
from rungwise.web.api import ROUTERS
from rungwise.web.api.api_page import described, page
from rungwise.web.practice.programs import TELLS

DOCS = Path(__file__).parents[2] / "docs"
PAGE = (DOCS / "api.md").read_text(encoding="utf-8")


def test_the_page_is_as_the_code_writes_it() -> None:
    assert page() == PAGE, "python -m rungwise.web.api.api_page > docs/api.md"


def test_the_description_is_as_the_code_writes_it() -> None:
    told = json.loads((DOCS / "openapi.json").read_text(encoding="utf-8"))
    assert described() == told, "python -m rungwise.web.api.api_page --json > docs/openapi.json"


def test_every_call_and_scope_has_its_place() -> None:
    for router in ROUTERS:
        for route in router.routes:
            for method in route.methods:
                assert f"\n### {method} {route.path}\n" in PAGE
    needed = set(re.findall(r"Scope: `([a-z:]+)`", PAGE))
    assert needed == set(SCOPES)
    assert all(f"| `{kind}` |" in PAGE for kind in KINDS)
    assert TELLS.keys() == KINDS.keys()


def test_every_link_within_the_page_leads_somewhere() -> None:
    titles = re.findall(r"^#+ (.+)$", PAGE, re.MULTILINE)
    anchors = {re.sub(r"[^\w -]", "", title).lower().replace(" ", "-") for title in titles}
    linked = set(re.findall(r"\]\(#([^)]+)\)", PAGE))
    assert len(linked) > 10
    assert linked <= anchors


def test_the_figures_told_are_the_codes() -> None:
    assert f"{Settings().api_per_minute} unless the installation sets another" in PAGE
    assert ACTS_KEPT.total_seconds() == 24 * 3600
    assert GIVE_UP_AFTER.total_seconds() == 24 * 3600
    assert "after 5 seconds at first and then twice as long each time, at most an hour" in PAGE
    assert (WAITS.multiplier, WAITS.max, WAITS.exp_base) == (5, 3600, 2)


@pytest.mark.parametrize(
    ("change", "good"),
    [({}, True), ({"at": -301}, False), ({"body": b"{}"}, False), ({"secret": None}, False)],
)
def test_the_pages_own_check_of_a_signature_works(change: dict, good: bool) -> None:
    (source,) = re.findall(r"```python\n(.*?)```", PAGE, re.DOTALL)
    known: dict = {}
    exec(source, known)
    secret, body = new_secret(), b'{"type":"alert.opened"}'
    at = int(time.time()) + change.get("at", 0)
    signature = Webhook(secret).sign("msg_1", datetime.fromtimestamp(at, UTC), body.decode())
    headers = {
        "webhook-id": "msg_1",
        "webhook-timestamp": str(at),
        "webhook-signature": f"v1a,other {signature}",
    }
    asked = new_secret() if "secret" in change else secret
    assert known["is_from_us"](asked, headers, change.get("body", body)) is good
