"""/metrics: read with Prometheus's own parser; true figures, and nobody in them."""

import re
from datetime import timedelta

import pytest
from fastapi.testclient import TestClient
from prometheus_client.parser import text_string_to_metric_families
from sqlalchemy import event
from sqlmodel import select
from web_world import World

from rungwise.app import create_app
from rungwise.carriers.base import OutboundText, Outcome, Refused, TryLater, Unknown
from rungwise.carriers.hooks import HookAnswer
from rungwise.coach.monitoring.health import health
from rungwise.coach.monitoring.metrics import figures
from rungwise.coach.outbox.circuit import FAILURES_TO_OPEN
from rungwise.coach.outbox.rate_limit import Pace
from rungwise.coach.practice.webhooks import add_webhook
from rungwise.parts import Parts
from rungwise.store.tables import LastTick, Message, Trainer
from rungwise.ticks.jobs import due_tick, note_tick
from rungwise.ticks.sending import Sender
from rungwise.ticks.webhooks import webhook_tick

TOKEN = "a-token-for-prometheus"
ALLOWED_LABELS = {"carrier", "outcome", "area", "status", "tick", "le"}


def served(world: World, **settings: object) -> Parts:
    """The practice with other settings, and meters that start at nothing."""
    parts = world.parts
    with_token = parts.settings.model_copy(update={"metrics_token": TOKEN, **settings})
    world.parts = Parts(with_token, parts.store, parts.clock, parts.carriers)
    world.app = create_app(parts=world.parts)
    return world.parts


def read(world: World) -> dict[str, dict[tuple[tuple[str, str], ...], float]]:
    """Every sample by name and labels."""
    answer = world.browser().get("/metrics", headers={"Authorization": f"Bearer {TOKEN}"})
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith("text/plain; version=1.0.0")
    found: dict[str, dict[tuple[tuple[str, str], ...], float]] = {}
    for family in text_string_to_metric_families(answer.text):
        assert family.documentation, family.name
        for sample in family.samples:
            labels = tuple(sorted(sample.labels.items()))
            assert labels not in found.get(sample.name, {}), "twice"
            found.setdefault(sample.name, {})[labels] = sample.value
    return found


def one(world: World, name: str, **labels: str) -> float:
    return read(world)[name][tuple(sorted(labels.items()))]


# --- who may see ----------------------------------------------------------------------------------


SHOWN = {"Authorization": f"Bearer {TOKEN}"}
MAY = [
    # The token that is set, who asks, with what, and what they get.
    (None, "127.0.0.1", {}, 200),
    (None, "::1", {}, 200),
    (None, "192.0.2.7", {}, 404),
    (None, "testclient", {}, 404),
    (None, "127.0.0.1", {"X-Forwarded-For": "192.0.2.7"}, 404),
    (None, "127.0.0.1", {"Forwarded": "for=192.0.2.7"}, 404),
    (None, "127.0.0.1", {"Via": "1.1 proxy"}, 404),
    (None, "127.0.0.1", SHOWN, 200),
    (TOKEN, "192.0.2.7", SHOWN, 200),
    (TOKEN, "127.0.0.1", {}, 404),
    (TOKEN, "127.0.0.1", {"Authorization": "Bearer another-token-0"}, 404),
    (TOKEN, "127.0.0.1", {"Authorization": TOKEN}, 404),
]


def test_only_this_machine_or_the_token_sees_them(world: World) -> None:
    for token in (None, TOKEN):
        served(world, metrics_token=token)
        for _, client, headers, status in [one for one in MAY if one[0] == token]:
            browser = TestClient(world.app, client=(client, 50000))
            answer = browser.get("/metrics", headers=headers)
            assert answer.status_code == status, (token, client, headers)


# --- what they say --------------------------------------------------------------------------------


def test_nobody_can_be_told_from_them(world: World) -> None:
    served(world)
    world.reply("ada", "I fell in the kitchen")
    world.signed_in("tess").page(f"/clients/{world.clients['ada']}")
    for name, samples in read(world).items():
        assert name.startswith("rungwise_")
        for labels in samples:
            assert {label for label, _ in labels} <= ALLOWED_LABELS, name
    told = world.browser().get("/metrics", headers={"Authorization": f"Bearer {TOKEN}"}).text
    for words in ("Ada", "Harbour", "Tess", "2025550", "kitchen", "/clients/"):
        assert words not in told


def test_what_is_due_and_late_shows_at_once(world: World) -> None:
    served(world)
    assert one(world, "rungwise_due_lag_seconds") == 0
    world.clock.advance(timedelta(hours=1, minutes=1, seconds=30))
    assert one(world, "rungwise_due_lag_seconds") == 90
    assert one(world, "rungwise_due_waiting") == 3
    due_tick(world.store, world.clock)
    assert one(world, "rungwise_due_lag_seconds") == 0
    # Now the three prompts wait in the outbox.
    world.clock.advance(timedelta(seconds=45))
    assert one(world, "rungwise_outbox_waiting", carrier="handset") == 3
    assert one(world, "rungwise_outbox_oldest_seconds", carrier="handset") == 45
    world.tick()
    assert one(world, "rungwise_outbox_waiting", carrier="handset") == 0


def test_urgent_alerts_count_until_somebody_opens_them(world: World) -> None:
    served(world)
    assert one(world, "rungwise_urgent_alerts_unread") == 0
    world.reply("ada", "I fell in the kitchen")
    world.clock.advance(timedelta(minutes=3))
    fall = next(alert for alert in world.alerts("ada") if alert.urgency == "urgent")
    urgent = len([alert for alert in world.alerts("ada") if alert.urgency == "urgent"])
    assert one(world, "rungwise_urgent_alerts_unread") == urgent
    assert one(world, "rungwise_urgent_alerts_oldest_seconds") == 180
    assert one(world, "rungwise_urgent_alerts_unpaged") == 0
    tess = world.signed_in("tess")
    for alert in world.alerts("ada"):
        tess.page(f"/alerts/{alert.id}")
    assert fall.id
    assert one(world, "rungwise_urgent_alerts_unread") == 0


def test_the_readers_share_of_what_it_did_not_understand(world: World) -> None:
    served(world)
    world.pass_time(hours=2)
    assert one(world, "rungwise_reader_unknown_share") == 0
    for words in ("20 steady", "wibble the fnord", "L20 R20 steady"):
        world.reply("ada", words)
    assert one(world, "rungwise_reader_replies") == 3
    assert one(world, "rungwise_reader_unknown_share") == pytest.approx(1 / 3)
    world.clock.advance(timedelta(hours=25))
    assert one(world, "rungwise_reader_replies") == 0


class Scripted:
    """A carrier that answers what it is told to."""

    name = "handset"

    def __init__(self, *says: Outcome) -> None:
        self.says = list(says)

    def send(self, _text: OutboundText) -> Outcome:
        return self.says.pop(0)


def test_answers_and_carriers_errors_are_counted(world: World) -> None:
    parts = served(world)
    world.pass_time(hours=2)
    world.reply("ada", "20 steady")  # answered by world.tick, which counts elsewhere
    with world.store.write() as session:
        answer = session.exec(
            select(Message).where(Message.answers_id != None)  # noqa: E711
        ).first()
        answer.state, answer.carrier_id, answer.sent_at = "queued", None, None
        answer.not_before = world.clock.now()
    world.clock.advance(timedelta(seconds=3))
    with Sender(
        world.store, world.parts.carriers["handset"], world.clock, Pace(), parts.meters
    ) as sender:
        assert sender.round() == 1
    assert one(world, "rungwise_carrier_texts_total", carrier="handset", outcome="accepted") == 1
    assert one(world, "rungwise_answer_seconds_count") == 1
    seconds = one(world, "rungwise_answer_seconds_sum")
    assert seconds >= 3
    assert one(world, "rungwise_answer_seconds_bucket", le="2.0") == 0
    assert one(world, "rungwise_answer_seconds_bucket", le="+Inf") == 1


@pytest.mark.parametrize(
    ("says", "outcome"),
    [
        (TryLater("busy"), "try_later"),
        (Refused("no such number"), "refused"),
        (Unknown("no answer"), "unknown"),
    ],
)
def test_each_error_of_a_carrier_has_its_name(world: World, says: Outcome, outcome: str) -> None:
    parts = served(world)
    world.clock.advance(timedelta(hours=1))
    due_tick(world.store, world.clock)
    with Sender(
        world.store, Scripted(says, says, says), world.clock, Pace(), parts.meters
    ) as sender:
        assert sender.round() == 3
    assert one(world, "rungwise_carrier_texts_total", carrier="handset", outcome=outcome) == 3
    assert one(world, "rungwise_carrier_down", carrier="handset") == 0


def test_a_carrier_that_fails_again_and_again_is_down(world: World) -> None:
    parts = served(world)
    world.clock.advance(timedelta(hours=1))
    due_tick(world.store, world.clock)
    carrier = Scripted(*[TryLater("no connection", unreachable=True)] * 20)
    for _ in range(FAILURES_TO_OPEN):
        world.clock.advance(timedelta(minutes=2))
        with Sender(world.store, carrier, world.clock, Pace(), parts.meters) as sender:
            sender.round()
    assert one(world, "rungwise_carrier_down", carrier="handset") == 1


def test_a_carrier_that_has_nothing_to_do_is_there(world: World) -> None:
    served(world)
    assert one(world, "rungwise_outbox_waiting", carrier="handset") == 0
    assert one(world, "rungwise_carrier_down", carrier="handset") == 0


def test_asking_reads_no_table_from_end_to_end(world: World) -> None:
    """With a million clients and years of alerts, a monitor that asks must cost nothing."""
    asked: list[tuple[str, tuple]] = []

    def note(_connection, _cursor, statement, values, _context, _many) -> None:
        asked.append((statement, values))

    event.listen(world.store.engine, "before_cursor_execute", note)
    with world.store.read() as session:
        figures(session, world.clock.now(), {"handset"})
        health(session, world.clock.now(), world.clock.now(), ticks=True)
    event.remove(world.store.engine, "before_cursor_execute", note)
    assert len(asked) >= 11
    with world.store.engine.connect() as connection:
        for statement, values in asked:
            plan = connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {statement}", values)
            for line in [row[-1] for row in plan]:
                whole = re.fullmatch(r"SCAN (message|alert|due|webhook_call|client)", line)
                # The latest few thousand texts are read by their ids, from the end.
                assert not whole or "LIMIT" in statement, (line, statement)


def test_ticks_tell_when_they_last_ran(world: World) -> None:
    served(world)
    at = world.clock.now()
    for name in ("due", "send"):
        note_tick(world.store, name, at)
    for name in ("due", "send"):
        stamp = one(world, "rungwise_tick_last_run_timestamp_seconds", tick=name)
        assert stamp == at.timestamp()
    with world.store.read() as session:
        assert len(session.exec(select(LastTick)).all()) == 2


def test_webhooks_that_wait_are_seen(world: World) -> None:
    parts = served(world)
    with world.store.write() as session:
        lead = session.get_one(Trainer, world.trainers["lena"])
        add_webhook(session, world.clock.now(), lead, "https://x.test/", urgent_only=True)
    world.reply("ada", "I fell in the kitchen")
    waiting = one(world, "rungwise_webhook_calls_waiting")
    assert waiting >= 1
    world.clock.advance(timedelta(seconds=20))
    assert one(world, "rungwise_webhook_oldest_seconds") == 20
    webhook_tick(world.store, world.clock, lambda _: HookAnswer(), parts.meters)
    assert one(world, "rungwise_webhook_calls_waiting") == 0
    assert one(world, "rungwise_webhook_calls_total", outcome="taken") == waiting


def test_requests_are_timed_by_area_and_not_by_address(world: World) -> None:
    served(world)
    world.browser().get("/sign-in")
    world.browser().get("/api/v1/clients/4711")
    world.browser().get("/in/nobody")
    counts = read(world)["rungwise_http_request_seconds_count"]
    assert counts[(("area", "page"), ("status", "2xx"))] == 1
    assert counts[(("area", "api"), ("status", "4xx"))] == 1
    assert counts[(("area", "callback"), ("status", "4xx"))] == 1
