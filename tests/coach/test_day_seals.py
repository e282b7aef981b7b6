"""Days of clients hashed into the audit trail: whatever is changed afterwards is found."""

from datetime import timedelta

import pytest
from sqlalchemy import delete, text, update
from sqlmodel import col, select

from rungwise.coach.data.erase import erase_client
from rungwise.coach.practice.retention import MARK
from rungwise.coach.record.audit import broken_at
from rungwise.coach.record.day_seals import check_days, seal_days
from rungwise.store.tables import Client, DaySeal, Message, MoveRow, Practice, Report, Trainer


@pytest.fixture
def sealed(world):
    """A few days of practice, all of them sealed but today's."""
    for said in ("20 steady", "wobbly, 12", "I fell"):
        world.pass_time(hours=2)
        world.reply(said)
        world.pass_time(days=1)
    assert seal_days(world.store, world.clock.now()) >= 3
    return world


def checked(world):
    with world.store.read() as session:
        return check_days(session, session.exec(select(Practice)).one())


def test_days_nobody_touched_fit_and_are_sealed_once(sealed):
    assert checked(sealed).wrong == ()
    assert checked(sealed).days >= 3
    assert seal_days(sealed.store, sealed.clock.now()) == 0
    with sealed.store.read() as session:
        assert broken_at(session, session.exec(select(Practice)).one()) is None


@pytest.mark.parametrize(
    ("table", "change", "told"),
    [
        (Message, {"body": "25 steady"}, "the words of a text"),
        (Message, {"direction": "none"}, "rows were changed"),
        (Report, {"told": {"skipped": True}}, "rows were changed"),
        (MoveRow, {"kind": "up"}, "rows were changed"),
        (MoveRow, {"because": "two steady days"}, "rows were changed"),
    ],
)
def test_a_change_by_hand_is_found(sealed, table, change, told):
    with sealed.store.write() as session:
        first = select(table.id).where(table.client_id == sealed.client_id).order_by(table.id)
        changed = session.exec(first.limit(1)).one()
        session.execute(update(table).where(table.id == changed).values(**change))
    (wrong,) = checked(sealed).wrong
    assert f"client {sealed.client_id}, " in wrong
    assert told in wrong


def test_texts_whose_words_changed_places_are_found(sealed):
    """As they are stored: also sealed, both would open, for their column is the same."""
    with sealed.store.write() as session:
        first, second = session.execute(
            text("SELECT id, body FROM message WHERE direction = 'in' ORDER BY id LIMIT 2")
        ).all()
        for row, body in ((first.id, second.body), (second.id, first.body)):
            session.execute(
                text("UPDATE message SET body = :body WHERE id = :id"), {"body": body, "id": row}
            )
    assert len(checked(sealed).wrong) == 2


def test_a_row_taken_out_or_dated_back_is_found(sealed):
    with sealed.store.write() as session:
        report = session.exec(select(Report).order_by(col(Report.id))).first()
        session.execute(delete(MoveRow).where(col(MoveRow.report_id) == report.id))
    assert "added or taken out" in checked(sealed).wrong[0]
    with sealed.store.write() as session:
        session.add(
            Report(
                client_id=sealed.client_id,
                local_date=report.local_date - timedelta(days=20),
                rung_key=report.rung_key,
                message_ids=[],
                told=report.told,
                created_at=report.created_at + timedelta(minutes=1),
            )
        )
    assert len(checked(sealed).wrong) == 1


def test_changed_hashes_are_found_by_the_trail(sealed):
    with sealed.store.write() as session:
        session.execute(update(DaySeal).values(rows_hash="0" * 64))
    assert any("the hashes of" in wrong for wrong in checked(sealed).wrong)


def test_a_client_hidden_from_the_hashes_is_found(sealed):
    with sealed.store.write() as session:
        session.execute(update(DaySeal).values(client_id=None))
    assert any("have no client" in wrong for wrong in checked(sealed).wrong)


def test_an_erasure_leaves_everything_fitting(sealed):
    with sealed.store.write() as session:
        client = session.get_one(Client, sealed.client_id)
        trainer = session.get_one(Trainer, sealed.trainer_id)
        erase_client(session, sealed.clock.now(), trainer, client, client.name)
    assert checked(sealed).wrong == ()
    with sealed.store.read() as session:
        assert broken_at(session, session.exec(select(Practice)).one()) is None
        kept = session.exec(select(DaySeal)).all()
    assert kept
    assert {seal.client_id for seal in kept} == {None}


def test_removed_words_are_counted_and_not_called_changed(sealed):
    with sealed.store.write() as session:
        session.execute(update(Message).values(body=MARK, removed_at=sealed.clock.now()))
    found = checked(sealed)
    assert found.wrong == ()
    assert found.wordless >= 3


def test_a_day_is_sealed_two_hours_after_its_end(world):
    """The window that the docs name."""
    now = world.clock.now()
    midnight = (now + timedelta(days=1)).replace(hour=0, minute=0, second=0, microsecond=0)
    seal_days(world.store, midnight)
    assert seal_days(world.store, midnight + timedelta(hours=1, minutes=59)) == 0
    assert seal_days(world.store, midnight + timedelta(hours=2)) == 1
