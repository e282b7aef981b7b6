"""The API on both kinds of database: the same action asked for twice at once is done once."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from threading import Barrier

import pytest
from fastapi.testclient import TestClient
from httpx2 import Response
from sqlmodel import Session, select
from web_world import PROFILE

from rungwise.app import create_app
from rungwise.carriers.handset import Handset
from rungwise.clock import HandClock
from rungwise.coach.accounts.api_tokens import SCOPES, NewToken, make_token
from rungwise.coach.enrolment.clients import NewClient, add_client
from rungwise.coach.record.audit import broken_at
from rungwise.parts import Parts
from rungwise.settings import Settings
from rungwise.store import Store
from rungwise.store.tables import Alert, ApiAct, Message, Practice, Trainer

pytestmark = pytest.mark.both_databases

NOW = datetime(2026, 3, 2, 13, 0, tzinfo=UTC)
AT_ONCE = 4


@pytest.fixture
def served(store: Store) -> tuple[TestClient, dict[str, str], int]:
    """A practice with one client; a browser, the headers with a token, and the client's id."""
    with store.write() as session:
        practice = Practice(name="Harbour Balance", phone="+12025550100", created_at=NOW)
        session.add(practice)
        session.flush()
        # Not by add_trainer: hashing a password is slow on purpose.
        lead = Trainer(
            practice_id=practice.id,
            name="Lena Placeholder",
            email="l@example.org",
            password_hash="none",
            role="lead",
            page_answered_at=NOW,
            created_at=NOW,
        )
        session.add(lead)
        session.flush()
        new = NewClient(
            name="Ada Sample",
            called="Ada",
            phone="+12025550103",
            profile=PROFILE,
            time_zone="America/New_York",
            agreed=True,
        )
        client_id = add_client(session, NOW, lead, new).id
        token = make_token(session, NOW, lead, NewToken("Records", lead.id, tuple(SCOPES), 30))
    settings = Settings(database_url=store.url, ticks=False)
    parts = Parts(settings, store, HandClock(NOW), {"handset": Handset("x" * 20)})
    browser = TestClient(create_app(parts=parts), raise_server_exceptions=False)
    return browser, {"Authorization": f"Bearer {token}"}, client_id


def at_once(many: int, ask: Callable[[int], Response]) -> list[Response]:
    """What so many askers are answered, who all begin together; each is told its number."""
    start = Barrier(many)

    def begin(number: int) -> Response:
        start.wait()
        return ask(number)

    with ThreadPoolExecutor(many) as pool:
        return list(pool.map(begin, range(many)))


def add_alert(session: Session, client_id: int, kind: str, urgency: str) -> None:
    session.add(
        Alert(
            practice_id=1,
            client_id=client_id,
            kind=kind,
            urgency=urgency,
            system_did="Told.",
            opened_at=NOW,
            last_at=NOW,
        )
    )


def test_the_same_key_at_once_acts_once(served, store: Store) -> None:
    browser, headers, client_id = served

    def ask(_number: int) -> Response:
        return browser.post(
            f"/api/v1/clients/{client_id}/messages",
            json={"body": "See you at three."},
            headers={**headers, "Idempotency-Key": "one-and-only"},
        )

    answers = at_once(AT_ONCE, ask)
    assert [answer.status_code for answer in answers] == [201] * AT_ONCE
    assert len({answer.text for answer in answers}) == 1
    replayed = [answer for answer in answers if "Idempotency-Replayed" in answer.headers]
    assert len(replayed) == AT_ONCE - 1
    with store.read() as session:
        texts = session.exec(select(Message).where(Message.kind == "own")).all()
        assert len(texts) == 1
        assert len(session.exec(select(ApiAct)).all()) == 1
        assert broken_at(session, session.exec(select(Practice)).one()) is None


def test_two_who_looked_at_the_same_version_do_not_both_act(served, store: Store) -> None:
    browser, headers, client_id = served
    path = f"/api/v1/clients/{client_id}"
    known = browser.get(path, headers=headers).json()["version"]

    def ask(number: int) -> Response:
        more = {**headers, "Idempotency-Key": f"key-number-{number}"}
        return browser.post(f"{path}/pause", json={"version": known}, headers=more)

    answers = at_once(2, ask)
    assert sorted(answer.status_code for answer in answers) == [200, 409]


def test_an_alert_is_handled_by_one_of_two(served, store: Store) -> None:
    browser, headers, client_id = served
    with store.write() as session:
        add_alert(session, client_id, "silence", "today")

    def ask(number: int) -> Response:
        key = f"key-number-{number}"
        more = {**headers, "Idempotency-Key": key}
        return browser.post("/api/v1/alerts/1/handle", json={"what_done": key}, headers=more)

    answers = at_once(2, ask)
    assert sorted(answer.status_code for answer in answers) == [200, 409]


def test_lists_and_alerts_read_alike(served, store: Store) -> None:
    browser, headers, client_id = served
    with store.write() as session:
        for kind, urgency in (("pain", "urgent"), ("silence", "today"), ("stuck", "note")):
            add_alert(session, client_id, kind, urgency)
    first = browser.get("/api/v1/alerts?limit=2", headers=headers).json()
    second = browser.get(f"/api/v1/alerts?cursor={first['next']}", headers=headers).json()
    kinds = [one["kind"] for one in (*first["items"], *second["items"])]
    assert kinds == ["stuck", "silence", "pain"]
    assert second["next"] is None
    (told,) = browser.get("/api/v1/clients", headers=headers).json()["items"]
    assert told["rung"]["words"]
    assert (
        browser.get(f"/api/v1/clients/{client_id}/reports", headers=headers).json()["items"] == []
    )
