"""Words of texts go after the time a practice keeps them, and nothing else does."""

from datetime import UTC, datetime, timedelta

import pytest
from screened import unhurt
from sqlalchemy import event, text
from sqlmodel import col, select

from rungwise.coach.data.export_rows import everything
from rungwise.coach.plan.placement import Handling, handle
from rungwise.coach.practice.retention import (
    MARK,
    how_many_go,
    keep_since,
    months_given,
    retention_due,
    set_keeping,
)
from rungwise.coach.record.access import OnlyTheLead
from rungwise.coach.record.audit import broken_at
from rungwise.coach.record.situation import load
from rungwise.coach.rule.replay import how_many, how_many_removed, replay
from rungwise.errors import ImpossibleValue
from rungwise.store.due import due_of
from rungwise.store.tables import (
    Alert,
    Audit,
    Client,
    InboundPart,
    Message,
    MoveRow,
    Practice,
    Report,
    Trainer,
)
from rungwise.ticks.jobs import due_tick

pytestmark = pytest.mark.both_databases

# On SQLite alone: what PostgreSQL does otherwise is tried by the other tests here.
one_store = pytest.mark.parametrize("store", ["sqlite"], indirect=True)
SECRET = "20 steady by the quince tree"


def keep(world, months: int | None) -> None:
    with world.store.write() as session:
        trainer = session.get_one(Trainer, world.trainer_id)
        trainer.role = "lead"
        set_keeping(session, world.clock.now(), trainer, months)


def texts(world) -> list[Message]:
    with world.store.read() as session:
        return list(session.exec(select(Message).order_by(col(Message.id))).all())


def counts(world) -> dict[str, int]:
    with world.store.read() as session:
        return {
            table.__name__: len(session.exec(select(table)).all())
            for table in (Message, Report, MoveRow, Alert)
        }


@pytest.fixture
def practised(world):
    """Three days of practice, then the client ends the texts; every alert is handled."""
    for said in (SECRET, "skipped", "15 wobbly"):
        world.pass_time(hours=1)
        world.reply(said)
        world.pass_time(hours=23)
    # No more texts: months pass in one step.
    world.reply("STOP")
    with world.store.write() as session:
        for alert in session.exec(select(Alert)).all():
            alert.state = "handled"
    return world


def a_night(world, after: timedelta) -> None:
    """Move the clock on and let the nightly removal come due."""
    world.clock.advance(after)
    due_tick(world.store, world.clock)


@one_store
def test_words_are_kept_unless_the_practice_says_otherwise(practised):
    a_night(practised, timedelta(days=2000))
    assert all(one.removed_at is None for one in texts(practised))
    assert any(one.body == SECRET for one in texts(practised))


def test_after_the_set_months_words_go_and_everything_else_stays(practised):
    world = practised
    keep(world, 6)
    before = counts(world)
    a_night(world, timedelta(days=170))
    assert any(one.body == SECRET for one in texts(world)), "not yet"
    a_night(world, timedelta(days=15))
    gone = [one for one in texts(world) if one.removed_at is not None]
    kept = [one for one in texts(world) if one.removed_at is None]
    assert len(gone) >= 8
    assert {one.body for one in gone} == {MARK}
    assert all(one.media_url is None and one.pictures is None for one in gone)
    # When, between whom, what became of it and what it was read as.
    assert all(one.created_at and one.to_phone and one.state for one in gone)
    assert any(one.reading for one in gone)
    assert kept == []
    assert {name: n for name, n in counts(world).items() if name != "Message"} == {
        name: n for name, n in before.items() if name != "Message"
    }


def test_what_was_removed_is_on_record_with_its_count(practised):
    world = practised
    keep(world, 6)
    a_night(world, timedelta(days=200))
    removed = sum(one.removed_at is not None for one in texts(world))
    with world.store.read() as session:
        lines = session.exec(select(Audit).where(Audit.action == "words of texts removed")).all()
        assert [line.detail["texts"] for line in lines] == [removed]
        assert lines[0].trainer_id is None
        assert broken_at(session, session.exec(select(Practice)).one()) is None
        # A second night finds nothing and adds no line.
    a_night(world, timedelta(days=1))
    with world.store.read() as session:
        again = session.exec(select(Audit).where(Audit.action == "words of texts removed")).all()
        assert len(again) == 1
        due = due_of(session, "retention", 1)
        assert due is not None
        assert due.at > world.clock.now()


def test_words_behind_an_open_alert_stay_until_it_is_handled(world, trainer):
    world.pass_time(hours=1)
    world.reply("I fell by the quince tree")
    keep(world, 6)
    a_night(world, timedelta(days=200))
    assert any("quince" in one.body for one in texts(world))
    with world.store.write() as session:
        alert = session.exec(select(Alert).where(Alert.kind == "fall")).one()
        lead = session.get_one(Trainer, trainer.id)
        situation = load(session, session.get_one(Client, world.client_id))
        handle(
            session,
            world.clock.now(),
            lead,
            alert,
            situation,
            Handling("Phoned.", after_fall=unhurt()),
        )
    a_night(world, timedelta(days=1))
    assert not any("quince" in one.body for one in texts(world))


def test_replay_counts_what_it_cannot_check_and_finds_no_difference(practised):
    world = practised
    with world.store.read() as session:
        whole = how_many(session)
        assert how_many_removed(session) == 0
    keep(world, 6)
    a_night(world, timedelta(days=200))
    looked = []
    with world.store.read() as session:
        assert list(replay(session, lambda: looked.append(1))) == []
        assert len(looked) == how_many(session) == whole
        assert how_many_removed(session) >= 3


@one_store
def test_an_export_holds_the_mark_and_no_word(practised):
    world = practised
    keep(world, 6)
    a_night(world, timedelta(days=200))
    with world.store.read() as session:
        told = str(everything(session, world.client_id))
    assert "quince" not in told
    assert MARK in told


def forgetful(connection) -> None:
    """SQLite as it is built by default; some systems' zeroes what it frees without being asked."""
    connection.exec_driver_sql("PRAGMA secure_delete = OFF")


@pytest.fixture
def usual_sqlite(practised):
    """The world on a SQLite that leaves old bytes in the file unless it is told not to."""
    engine = practised.store.engine
    if practised.store.is_sqlite:
        event.listen(engine, "begin", forgetful)
    # Many, because what a few leave behind is soon written over.
    with practised.store.write() as session:
        for number in range(60):
            session.add(
                Message(
                    practice_id=1,
                    client_id=practised.client_id,
                    direction="in",
                    kind="reply",
                    body=f"{'under ' * 40}the quince tree",
                    from_phone="+12025550103",
                    to_phone="+12025550100",
                    carrier="handset",
                    carrier_id=f"long-{number}",
                    state="read",
                    created_at=practised.clock.now(),
                )
            )
    yield practised
    if practised.store.is_sqlite:
        event.remove(engine, "begin", forgetful)


def test_the_bytes_are_gone_from_the_file(usual_sqlite):
    world = usual_sqlite
    keep(world, 6)
    a_night(world, timedelta(days=200))
    with world.store.engine.connect() as connection:
        held = connection.execute(text("SELECT count(*) FROM message WHERE body LIKE '%quince%'"))
        assert held.scalar_one() == 0
    if not world.store.is_sqlite:
        return  # its own files are its own business; autovacuum takes dead rows out
    file = world.store.engine.url.database
    connection = world.store.engine.raw_connection()
    connection.cursor().execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
    connection.close()
    with open(file, "rb") as held:  # noqa: PTH123
        assert b"quince tree" not in held.read()


@one_store
def test_pieces_of_long_texts_go_with_them(practised):
    world = practised
    with world.store.write() as session:
        message = session.exec(select(Message).where(Message.direction == "in")).first()
        session.add(
            InboundPart(
                carrier="x",
                carrier_id="p1",
                from_phone="+1",
                to_phone="+1",
                reference=1,
                total=2,
                number=1,
                body="quince",
                at=message.created_at,
                message_id=message.id,
            )
        )
    keep(world, 6)
    a_night(world, timedelta(days=200))
    with world.store.read() as session:
        assert session.exec(select(InboundPart)).all() == []


@one_store
def test_a_long_past_goes_in_batches(practised):
    world = practised
    keep(world, 6)
    world.clock.advance(timedelta(days=200))
    with world.store.write() as session:
        retention_due(session, world.clock.now(), 1, most=3)
    assert sum(one.removed_at is not None for one in texts(world)) == 3
    a_night(world, timedelta(seconds=59))
    assert sum(one.removed_at is not None for one in texts(world)) == 3
    a_night(world, timedelta(seconds=1))
    assert all(one.removed_at is not None for one in texts(world))


@one_store
def test_going_back_to_keeping_ends_it(practised):
    world = practised
    keep(world, 6)
    keep(world, None)
    a_night(world, timedelta(days=400))
    assert all(one.removed_at is None for one in texts(world))


@one_store
def test_the_preview_counts_what_goes(practised):
    world = practised
    world.clock.advance(timedelta(days=200))
    with world.store.read() as session:
        practice = session.exec(select(Practice)).one()
        counted = how_many_go(session, world.clock.now(), practice, 6)
        assert how_many_go(session, world.clock.now(), practice, 12) == 0
    keep(world, 6)
    a_night(world, timedelta(days=1))
    assert counted == sum(one.removed_at is not None for one in texts(world)) > 0


@one_store
def test_only_the_lead_may(world, trainer):
    with world.store.write() as session, pytest.raises(OnlyTheLead):
        set_keeping(session, world.clock.now(), trainer, 6)


@pytest.mark.parametrize("words", ["5", "121", "-6", "6.5", "six", "²", "9" * 30])
def test_months_that_cannot_be_are_refused(words: str):
    with pytest.raises(ImpossibleValue, match="6 to 120"):
        months_given(words)


def test_months_as_given():
    assert (months_given(" 6 "), months_given("120"), months_given("  ")) == (6, 120, None)


@pytest.mark.parametrize(
    ("now", "months", "since"),
    [
        # 31 August has no day six months before: the last of February.
        ("2026-08-31T12:00:00+00:00", 6, "2026-02-28T05:00:00+00:00"),
        ("2024-08-31T12:00:00+00:00", 6, "2024-02-29T05:00:00+00:00"),
        ("2026-03-02T03:00:00+00:00", 12, "2025-03-01T05:00:00+00:00"),
        ("2026-07-01T12:00:00+00:00", 6, "2026-01-01T05:00:00+00:00"),
    ],
)
def test_months_are_the_calendars(now: str, months: int, since: str):
    found = keep_since(datetime.fromisoformat(now), months, "America/New_York")
    assert found.astimezone(UTC).isoformat() == since
