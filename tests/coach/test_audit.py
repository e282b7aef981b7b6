"""The audit trail: every line follows from the one before, on both stores."""

from datetime import UTC, datetime
from hashlib import sha256
from zoneinfo import ZoneInfo

import pytest
from screened import unhurt
from sqlalchemy import delete, update
from sqlmodel import col, select

from rungwise.cli import main
from rungwise.coach.accounts.trainers import add_trainer
from rungwise.coach.plan.placement import Handling, handle, pause, resume_paused
from rungwise.coach.record.audit import broken_at, hash_of, last_hash, record, wrong_handlings
from rungwise.coach.record.situation import load
from rungwise.store import Store
from rungwise.store.moving.migrate import migrate
from rungwise.store.sealing.crypto import Key, put_vault
from rungwise.store.sealing.rotation import Rotation
from rungwise.store.sealing.unlocking import unlock
from rungwise.store.tables import Alert, Audit, AuditHead, Client, LastTick, Practice, Trainer

KEY, OTHER = (letter * 42 + "A" for letter in "ab")

pytestmark = pytest.mark.both_databases
START = datetime(2026, 3, 2, 13, 0, tzinfo=UTC)


@pytest.fixture
def trail(world, trainer):
    """A few lines of real work."""
    for act in (pause, resume_paused, pause):
        with world.store.write() as session:
            situation = load(session, session.get_one(Client, world.client_id))
            act(session, world.clock.now(), trainer, situation)
    with world.store.write() as session:
        record(session, world.clock.now(), trainer, "looked", client_id=1, words="äöü", n=1.5)
    return world


def found(world):
    with world.store.read() as session:
        return broken_at(session, session.exec(select(Practice)).one())


def test_a_trail_nobody_touched_is_whole(trail):
    assert found(trail) is None
    with trail.store.read() as session:
        lines = session.exec(select(Audit).order_by(col(Audit.number))).all()
    assert [line.number for line in lines] == list(range(1, len(lines) + 1))
    assert [line.action for line in lines][-4:] == ["pause", "resume", "pause", "looked"]


@pytest.mark.parametrize(
    "change",
    [
        {"action": "nothing"},
        {"trainer_id": None},
        {"client_id": 99},
        {"detail": {"rung": "other"}},
        {"hash": "0" * 64},
    ],
)
def test_a_changed_line_is_found(trail, change):
    with trail.store.write() as session:
        session.execute(update(Audit).where(col(Audit.number) == 2).values(**change))
    assert found(trail)[0] == 2


def test_a_missing_line_is_found(trail):
    with trail.store.write() as session:
        session.execute(delete(Audit).where(col(Audit.number) == 2))
    assert found(trail) == (2, "line 2 is missing")


def test_a_moment_given_in_a_zone_is_hashed_as_it_is_read_back(world, trainer):
    local = datetime(2026, 3, 2, 9, 0, tzinfo=ZoneInfo("America/New_York"))
    with world.store.write() as session:
        record(session, local, trainer, "looked")
    assert found(world) is None


def test_a_cut_tail_is_found(trail):
    with trail.store.write() as session:
        last = session.exec(select(Audit).order_by(col(Audit.number).desc())).first()
        assert last is not None
        session.delete(last)
        count = last.number
    assert found(trail) == (count, f"the last 1 of {count} lines are missing")


def test_a_deleted_trail_is_found_before_and_after_the_next_line(trail, trainer):
    with trail.store.write() as session:
        session.execute(delete(Audit))
    assert "lines are missing" in found(trail)[1]
    with trail.store.write() as session:
        record(session, trail.clock.now(), trainer, "looked")
    assert found(trail) == (1, "line 1 is missing")


def test_a_line_put_in_after_the_end_stays_found(trail, trainer):
    with trail.store.write() as session:
        head = session.exec(select(AuditHead)).one()
        forged = Audit(
            practice_id=head.practice_id,
            number=head.count + 1,
            action="looked",
            detail={},
            at=trail.clock.now(),
            hash="",
        )
        forged.hash = hash_of(session, forged, head.hash) or ""
        session.add(forged)
        number = forged.number
    assert found(trail) == (number, f"line {number} was added by hand, or by an older version")
    with trail.store.write() as session:
        record(session, trail.clock.now(), trainer, "looked")
    assert found(trail)[0] == number + 1


def test_a_head_changed_by_hand_is_not_made_good_by_the_next_line(trail, trainer):
    with trail.store.write() as session:
        session.execute(update(AuditHead).values(mac="0" * 64))
    assert "ends was changed" in found(trail)[1]
    with trail.store.write() as session:
        record(session, trail.clock.now(), trainer, "looked")
    assert "ends was changed" in found(trail)[1]


def test_a_trail_made_anew_is_found_by_a_hash_noted_before(trail, trainer):
    with trail.store.read() as session:
        practice = session.exec(select(Practice)).one()
        noted = last_hash(session, practice)
        assert broken_at(session, practice, noted) is None
    with trail.store.write() as session:
        session.execute(delete(Audit))
        session.execute(delete(AuditHead))
        record(session, trail.clock.now(), trainer, "looked")
    assert found(trail) is None
    with trail.store.read() as session:
        number, told = broken_at(session, session.exec(select(Practice)).one(), noted)
    assert number == 0
    assert "made anew" in told


def test_with_a_data_key_nobody_else_can_make_the_hashes(trail):
    """Recomputed without the key, as whoever holds a copy of the database could."""
    rotation = Rotation(trail.store, [Key(KEY)])
    rotation.prepare()
    rotation.run(lambda _: None)
    put_vault(trail.store.engine, rotation.vault)
    try:
        assert found(trail) is None
        with trail.store.write() as session:
            trainer = session.exec(select(Trainer)).first()
            record(session, trail.clock.now(), trainer, "looked")
        assert found(trail) is None
        with trail.store.write() as session:
            make_anew_without_keys(session)
        assert found(trail) is not None
        with trail.store.write() as session:
            # Nor do the service's own lines make such a trail good.
            record(session, trail.clock.now(), trainer, "looked")
        assert found(trail) is not None
    finally:
        put_vault(trail.store.engine, None)


def make_anew_without_keys(session):
    """The whole trail, its second line changed, with plain SHA-256 and the right end."""
    before = "0" * 64
    lines = session.exec(select(Audit).order_by(col(Audit.number))).all()
    for line in lines:
        line.key, line.detail_hash = "", None
        line.action = "nothing" if line.number == 2 else line.action
        line.hash = before = hash_of(session, line, before) or ""
        session.add(line)
    head = session.exec(select(AuditHead)).one()
    head.count, head.hash, head.key = len(lines), before, ""
    head.mac = sha256(head.words.encode()).hexdigest()
    session.add(head)


def test_rotation_keeps_the_keys_of_old_lines(trail):
    store = trail.store
    for keys in ([Key(KEY)], [Key(OTHER), Key(KEY)]):
        rotation = Rotation(store, keys, thorough=True)
        # Another process's ticks would forbid it.
        with store.write() as session:
            session.execute(delete(LastTick))
        rotation.prepare()
        rotation.run(lambda _: None)
        put_vault(store.engine, rotation.vault)
        with store.write() as session:
            record(session, trail.clock.now(), session.exec(select(Trainer)).first(), "looked")
    try:
        unlock(store, [Key(OTHER)])
        assert found(trail) is None
        with store.read() as session:
            keys_used = {line.key for line in session.exec(select(Audit))}
        assert len(keys_used) == 3  # none, the first and the second
    finally:
        put_vault(store.engine, None)


def test_what_was_written_when_an_alert_was_handled_is_vouched_for(world, trainer):
    world.pass_time(hours=2)
    world.reply("I fell")
    with world.store.write() as session:
        alert = session.exec(select(Alert)).first()
        handle(
            session,
            world.clock.now(),
            trainer,
            alert,
            None,
            Handling("phoned, no injury", after_fall=unhurt()),
        )
        practice = session.exec(select(Practice)).one()
        assert wrong_handlings(session, practice) == []
        alert.what_done = "phoned twice"
        session.add(alert)
        session.flush()
        (told,) = wrong_handlings(session, practice)
    assert "does not say any more" in told


def test_the_command_says_so_and_exits_1(tmp_path, capsys):
    url = f"sqlite:///{tmp_path / 'audit.sqlite3'}"
    store = Store(url)
    migrate(store)
    with store.write() as session:
        practice = Practice(name="Harbour", phone="+12025550100", created_at=START)
        session.add(practice)
        session.flush()
        trainer = add_trainer(session, START, practice, "T", "t@example.org", "a long password")
        for action in ("one", "two"):
            record(session, START, trainer, action)
    assert main(["audit", "--database", url, "verify"]) == 0
    told = capsys.readouterr().out
    assert "whole" in told
    noted = told.split("Last hash ")[1].split()[0]
    assert main(["audit", "--database", url, "verify", "--since", noted]) == 0
    assert main(["audit", "--database", url, "verify", "--since", "0" * 64]) == 1
    assert "No line has the hash" in capsys.readouterr().out
    with store.write() as session:
        session.execute(delete(Audit).where(col(Audit.number) == 1))
    store.close()
    assert main(["audit", "--database", url, "verify"]) == 1
    assert "line 1 is missing" in capsys.readouterr().out
