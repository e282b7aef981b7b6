"""What fails for one number, one practice or one stored value stops nobody else's texts.

The times are the promise of docs/reliability.md; no standard has them.
"""

from datetime import timedelta

import pytest
from other_people import add_person, add_practice, by_wire, fails_for, hear, ticks_for
from sqlalchemy import text as sql
from sqlmodel import SQLModel, select
from wire import Wire

from rungwise.carriers.base import Accepted, TryLater
from rungwise.coach.outbox.circuit import FAILURES_TO_OPEN, LONGEST_OPEN, circuit_of, open_circuits
from rungwise.coach.outbox.claiming import claim
from rungwise.coach.outbox.rate_limit import Pace
from rungwise.coach.outbox.texts import TELL_AFTER, Text, queue_to_client, queue_to_phone
from rungwise.store import Store
from rungwise.store.sealing.crypto import Key
from rungwise.store.sealing.unlocking import unlock
from rungwise.store.tables import Alert, Client, Incident, Message, PlanRow, Practice
from rungwise.ticks.jobs import due_tick

pytestmark = pytest.mark.both_databases

TRAINER = "+12025550101"
CLIENT = "+12025550103"
OTHER = "+12025550104"
# On SQLite alone: the code that is tried is the same, and PostgreSQL refuses such values.
on_sqlite = pytest.mark.parametrize("store", ["sqlite"], indirect=True)


def got(wire: Wire, phone: str) -> list[str]:
    return [text.body for text in wire.got if text.to_phone == phone]


def open_for(world, practice_id: int) -> bool:
    with world.store.read() as session:
        return practice_id in open_circuits(session, "wire")


# --- one number -----------------------------------------------------------------------------------


@pytest.mark.parametrize("outcome", [None, TryLater("busy")], ids=["lost", "busy"])
def test_a_number_that_always_fails_stops_nobody_elses_page(world, outcome):
    wire = by_wire(world)
    other = add_person(world, OTHER)
    world.tick()
    wire.says = [fails_for({CLIENT}, *([outcome] if outcome else []))]
    hear(world, world.client_id, "I fell")
    ticks_for(world, minutes=10)
    assert not open_for(world, 1)
    wire.got.clear()
    hear(world, other, "I fell and cannot get up")
    ticks_for(world, minutes=1)
    assert any("Bea" in body for body in got(wire, TRAINER))
    assert got(wire, OTHER)


def test_with_the_circuit_open_a_page_and_the_number_not_tried_longest_are_tried(world):
    by_wire(world)
    phones = [f"+1202555020{n}" for n in range(6)]
    with world.store.write() as session:
        now = world.clock.now()
        practice = session.get_one(Practice, 1)
        for place, phone in enumerate(phones):
            kind = "page" if place < 2 else "answer"
            message = queue_to_phone(session, now, practice, Text(kind, "Hello"), phone)
            # Those with a lower id were tried later.
            message.tried_at = now - timedelta(minutes=place)
        circuit = circuit_of(session, "wire", 1)
        circuit.failures, circuit.down_since, circuit.retry_at = FAILURES_TO_OPEN, now, now
    tried = []
    for _ in range(3):
        world.clock.advance(LONGEST_OPEN)
        with world.store.write() as session:
            claimed = claim(session, world.clock.now(), "wire", Pace(), 16)
            tried.append([phones.index(message.to_phone) for message in claimed.to_send])
            for message in claimed.to_send:
                message.state = "queued"
    assert tried == [[1, 5], [0, 4], [1, 3]]


def test_a_page_that_waited_five_minutes_leaves_whatever_the_circuit_says(world):
    wire = by_wire(world)
    with world.store.write() as session:
        now = world.clock.now()
        practice = session.get_one(Practice, 1)
        page = queue_to_phone(session, now, practice, Text("page", "Hello"), TRAINER).id
        answer = queue_to_phone(session, now, practice, Text("answer", "Hello"), OTHER).id
        circuit = circuit_of(session, "wire", 1)
        circuit.failures, circuit.down_since = FAILURES_TO_OPEN, now
    for before in (timedelta(seconds=1), timedelta(0)):
        with world.store.write() as session:
            at = now + TELL_AFTER - before
            circuit_of(session, "wire", 1).retry_at = at + LONGEST_OPEN
            claimed = claim(session, at, "wire", Pace(), 16)
        assert [message.id for message in claimed.to_send] == ([] if before else [page])
    assert wire.got == []
    with world.store.read() as session:
        assert session.get_one(Message, answer).state == "queued"


def test_what_is_tried_in_spite_of_an_open_circuit_leaves_room_for_other_practices(world):
    by_wire(world)
    add_practice(world, "+12025550160")
    with world.store.write() as session:
        now = world.clock.now()
        for practice_id in (1, 2):
            practice = session.get_one(Practice, practice_id)
            for place in range(20):
                phone = f"+120255530{place:02}"
                queue_to_phone(session, now, practice, Text("page", "Hello"), phone)
        circuit = circuit_of(session, "wire", 1)
        circuit.failures, circuit.down_since = FAILURES_TO_OPEN, now
        circuit.retry_at = now + TELL_AFTER
    with world.store.write() as session:
        claimed = claim(session, now + TELL_AFTER, "wire", Pace(), 16)
    whose = [message.practice_id for message in claimed.to_send]
    assert (whose.count(1), whose.count(2)) == (8, 8)


def test_what_fails_for_one_practice_is_no_circuit_of_another(world):
    """The same gateway account: it refuses what comes from the first practice's number."""
    wire = by_wire(world)
    add_practice(world, "+12025550160")
    wire.says = [
        lambda text: (
            TryLater("busy") if text.from_phone == "+12025550100" else Accepted(f"w-{text.id}")
        )
    ]
    with world.store.write() as session:
        for place in range(20):
            for practice_id in (1, 2):
                practice = session.get_one(Practice, practice_id)
                text = Text("answer", f"{place}")
                queue_to_phone(session, world.clock.now(), practice, text, f"+120255530{place:02}")
    world.tick()
    world.tick()
    assert (open_for(world, 1), open_for(world, 2)) == (True, False)
    assert len([text for text in wire.got if text.from_phone == "+12025550160"]) == 20


# --- one stored value -----------------------------------------------------------------------------


def change(world, statement: str, **values) -> None:
    with world.store.write() as session:
        session.execute(sql(statement), values)


def alerts_of(world, client_id: int) -> dict[str, Alert]:
    with world.store.read() as session:
        rows = select(Alert).where(Alert.client_id == client_id, Alert.state != "handled")
        return {alert.kind: alert for alert in session.exec(rows).all()}


@pytest.fixture
def two(world):
    """The world's practice and another, on one wire, each with one client; and their wire."""
    wire = by_wire(world)
    add_practice(world, "+12025550160")
    world.other_id = add_person(world, OTHER, practice_id=2)
    world.tick()
    wire.got.clear()
    return world, wire


def test_wrong_quiet_hours_stop_no_page_no_safety_text_and_no_other_practice(two):
    world, wire = two
    change(world, "UPDATE practice SET texts_until = '25:99' WHERE id = 1")
    hear(world, world.client_id, "I fell")
    hear(world, world.other_id, "I fell")
    for phone in (TRAINER, CLIENT, "+12025550169", OTHER):
        assert got(wire, phone), phone


def test_a_text_that_needs_wrong_quiet_hours_is_set_aside_with_an_urgent_alert(two):
    world, wire = two
    with world.store.write() as session:
        practice = session.get_one(Practice, 1)
        client = session.get_one(Client, world.client_id)
        text = queue_to_client(session, world.clock.now(), practice, client, Text("notice", "Hi"))
    change(world, "UPDATE practice SET texts_until = '25:99' WHERE id = 1")
    world.tick()
    with world.store.read() as session:
        stored = session.get_one(Message, text.id)
    assert stored.state == "failed"
    assert "25:99" in stored.problem
    alert = alerts_of(world, world.client_id)["undeliverable"]
    assert (alert.urgency, "25:99" in alert.system_did) == ("urgent", True)
    assert got(wire, TRAINER)
    assert alerts_of(world, world.other_id) == {}


def test_a_prompt_that_cannot_be_made_is_one_urgent_alert_and_others_get_theirs(two):
    world, wire = two
    change(world, "UPDATE practice SET texts_until = '25:99' WHERE id = 1")
    world.clock.set(world.clock.now().replace(hour=14, minute=0))  # 09:00 in New York
    for _ in range(2):
        world.tick()
        world.clock.advance(timedelta(minutes=6))
    assert len(got(wire, OTHER)) == 1
    alert = alerts_of(world, world.client_id)["undeliverable"]
    with world.store.read() as session:
        incident = session.get_one(Incident, alert.incident_id)
    assert (alert.urgency, incident.pages) == ("urgent", 1)
    assert len(alert.system_did.splitlines()) == 1


CORRUPT = {
    "a plan of another shape": ("plan", "settings", '{"prompt_at": 5}'),
    "a profile of another shape": ("plan", "profile", "[]"),
    "a zone that there is not": ("client", "time_zone", "Mars/Olympus"),
    "a rung that there is not": ("placement", "rung_key", "nowhere"),
}


@pytest.mark.parametrize(("table", "column", "value"), CORRUPT.values(), ids=CORRUPT.keys())
@pytest.mark.parametrize("said", ["I fell", "bad chest pain and I fell", "STOP"])
def test_a_client_whose_stored_values_are_wrong_is_still_heard(two, table, column, value, said):
    world, wire = two
    key = "id" if table == "client" else "client_id"
    kind = {"plan": "json", "client": "varchar", "placement": "varchar"}[table]
    change(
        world,
        f"UPDATE {table} SET {column} = CAST(:value AS {kind}) WHERE {key} = :id"
        if not world.store.is_sqlite
        else f"UPDATE {table} SET {column} = :value WHERE {key} = :id",
        value=value,
        id=world.client_id,
    )
    hear(world, world.client_id, said)
    found = alerts_of(world, world.client_id)
    if said == "STOP":
        assert world.client.state == "stopped"
        assert "opted_out" in found
        assert len(got(wire, CLIENT)) == 1
        return
    assert {"fall", "emergency"} & found.keys()
    assert world.client.state == "resting"
    assert got(wire, TRAINER)
    assert any("911" in body for body in got(wire, CLIENT))
    if column not in ("time_zone", "rung_key"):  # acted on all the same
        assert found["unread"].urgency == "urgent"
    hear(world, world.other_id, "I fell")
    assert got(wire, "+12025550169")
    assert got(wire, OTHER)


def test_a_result_from_a_client_with_a_corrupt_plan_is_kept_told_and_acted_on_once_it_is_whole(two):
    world, _ = two
    with world.store.read() as session:
        whole = session.exec(select(PlanRow).where(PlanRow.client_id == world.client_id)).one()
    with world.store.write() as session:
        session.get_one(PlanRow, whole.id).settings = {}
    hear(world, world.client_id, "20 seconds, steady")
    assert alerts_of(world, world.client_id)["unread"].urgency == "urgent"
    with world.store.write() as session:
        session.get_one(PlanRow, whole.id).settings = whole.settings
    ticks_for(world, every_s=60, minutes=11)
    assert [move.kind for move in world.moves()][1:] != []


def test_a_fall_is_paged_though_the_duty_plan_cannot_be_read(two):
    world, wire = two
    change(
        world,
        "INSERT INTO duty (practice_id, trainer_id, weekday, begins, ends) "
        "VALUES (1, :trainer, 0, '08:00', '30:77')",
        trainer=world.trainer_id,
    )
    hear(world, world.client_id, "I fell")
    assert got(wire, TRAINER)


def test_a_doubt_of_a_client_with_a_corrupt_plan_becomes_urgent_all_the_same(two):
    world, wire = two
    hear(world, world.client_id, "I nearly fell")
    with world.store.write() as session:
        for plan in session.exec(select(PlanRow)).all():
            plan.settings = {}
    wire.got.clear()
    ticks_for(world, every_s=60, minutes=31)
    assert alerts_of(world, world.client_id)["near_fall"].urgency == "urgent"
    assert got(wire, TRAINER)


@on_sqlite
@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE carrier_state SET filled_at = 'rubbish'",
        "UPDATE circuit SET retry_at = 'rubbish', down_since = 'rubbish'",
        "UPDATE client SET created_at = 'rubbish' WHERE id = 1",
        "UPDATE practice SET created_at = 'rubbish' WHERE id = 1",
        "UPDATE trainer SET created_at = 'rubbish' WHERE id = 1",
        "UPDATE message SET sent_at = 'rubbish'",
        "UPDATE report SET told = '{'",
        "UPDATE move SET facts = '{'",
        "UPDATE question SET asked_at = 'rubbish'",
    ],
)
def test_a_row_that_does_not_decode_stops_neither_its_own_client_nor_others(two, statement):
    world, wire = two
    hear(world, world.client_id, "20 seconds steady")
    hear(world, world.other_id, "I nearly fell")
    wire.got.clear()
    change(world, statement)
    hear(world, world.client_id, "I fell")
    hear(world, world.other_id, "I fell")
    ticks_for(world, minutes=1)
    for phone in (TRAINER, CLIENT, "+12025550169", OTHER):
        assert got(wire, phone), phone


class Sealed:
    """The tests below run on a database of their own, sealed."""

    @pytest.fixture
    def store(self, tmp_path):
        store = Store(f"sqlite:///{tmp_path / 'sealed.sqlite3'}")
        SQLModel.metadata.create_all(store.engine)
        unlock(store, [Key("a" * 42 + "A")])
        yield store
        store.close()


class TestSealed(Sealed):
    def test_a_body_that_cannot_be_opened_is_set_aside_and_told(self, two):
        world, wire = two
        hear(world, world.client_id, "20 seconds steady")
        with world.store.write() as session:
            practice = session.get_one(Practice, 1)
            client = session.get_one(Client, world.client_id)
            now = world.clock.now()
            lost = queue_to_client(session, now, practice, client, Text("answer", "Hello")).id
        change(world, "UPDATE message SET body = '~1AAAA' WHERE id = :id", id=lost)
        wire.got.clear()
        hear(world, world.other_id, "I fell")
        assert got(wire, OTHER)
        assert got(wire, "+12025550169")
        with world.store.read() as session:
            states = session.execute(sql("SELECT state FROM message WHERE id = :id"), {"id": lost})
            assert states.scalar_one() == "failed"
        assert alerts_of(world, world.client_id)["undeliverable"].urgency == "urgent"
        due_tick(world.store, world.clock)

    def test_a_client_whose_name_cannot_be_opened_is_still_paged_about(self, two):
        world, wire = two
        change(world, "UPDATE client SET called = '~1AAAA', name = '~1AAAA' WHERE id = 1")
        hear(world, world.client_id, "I fell")
        assert got(wire, TRAINER)
        assert got(wire, CLIENT)
