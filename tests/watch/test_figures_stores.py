"""The figures for monitors, the same from both kinds of database."""

from datetime import UTC, datetime, timedelta

import pytest
from prometheus_client.parser import text_string_to_metric_families

from rungwise.coach.monitoring.metrics import figures
from rungwise.store import Store
from rungwise.store.tables import Due, LastTick, Message, Practice
from rungwise.web.http.metrics import exposed

pytestmark = pytest.mark.both_databases

NOW = datetime(2026, 3, 2, 13, 0, tzinfo=UTC)


def text(direction: str, at: datetime, kind: str | None = None, **more: object) -> Message:
    return Message(
        practice_id=1,
        direction=direction,
        kind="reply" if direction == "in" else "prompt",
        body="x",
        from_phone="+12025550100",
        to_phone="+12025550103",
        carrier="handset",
        state="read" if direction == "in" else "queued",
        created_at=at,
        reading=None if kind is None else {"kind": kind},
        **more,
    )


def test_an_empty_database_has_figures_too(store: Store) -> None:
    with store.read() as session:
        found = figures(session, NOW, {"handset"})
    assert (found.due_lag_s, found.urgent_unread, found.unknown_share) == (0, 0, 0)
    assert [(one.name, one.waiting, one.down) for one in found.carriers] == [("handset", 0, False)]
    assert list(text_string_to_metric_families(exposed(found).decode()))


def test_figures_of_what_waits_and_what_was_read(store: Store) -> None:
    with store.write() as session:
        session.add(Practice(name="Harbour Balance", phone="+12025550100", created_at=NOW))
        session.flush()
        for ago_s in (30, 90):
            at = NOW - timedelta(seconds=ago_s)
            session.add(text("out", at, not_before=at))
        session.add(text("out", NOW, not_before=NOW + timedelta(hours=1)))
        for kind in ("result", "other", "other", "help", None):
            session.add(text("in", NOW, kind))
        session.add(text("in", NOW - timedelta(hours=25), "other"))
        for number, ago_s in enumerate((10, 200)):
            at = NOW - timedelta(seconds=ago_s)
            session.add(Due(kind="prompt", subject_id=number, at=at))
        session.add(Due(kind="prompt", subject_id=9, at=NOW + timedelta(hours=1)))
        session.add(LastTick(name="due", at=NOW))
    with store.read() as session:
        found = figures(session, NOW)
    assert (found.due_lag_s, found.due_waiting) == (200, 2)
    (handset,) = found.carriers
    assert (handset.waiting, handset.oldest_s) == (2, 90)
    assert (found.replies, found.unknown_share) == (4, 0.5)
    assert found.ticks == {"due": NOW}
