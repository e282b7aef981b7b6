"""What leaves after an outage of the carrier: nothing stale, nothing that contradicts, no burst.

The figures (30 minutes, one page a person) are the promise of docs/reliability.md.
"""

from datetime import timedelta

import pytest
from other_people import LOST, add_person, by_wire, hear, ticks_for
from screened import unhurt
from sqlmodel import select

from rungwise.carriers.base import Accepted, TryLater
from rungwise.coach.alerting.alerts import see
from rungwise.coach.alerting.paging import pages_of
from rungwise.coach.monitoring.health import health
from rungwise.coach.plan.placement import Handling, handle
from rungwise.coach.record.situation import load
from rungwise.store.tables import Alert, Client, Message, Trainer

TRAINER, SECOND, CLIENT = "+12025550101", "+12025550102", "+12025550103"
DOWN = TryLater("no connection", unreachable=True)


@pytest.fixture
def down(world):
    """The world's wire, which takes nothing until `up` is called."""
    wire = by_wire(world)
    world.tick()
    wire.says = [DOWN]
    return wire


def up(wire) -> None:
    wire.says = [lambda text: Accepted(f"w-{text.id}")]
    wire.got.clear()


def to(wire, phone: str) -> list[str]:
    return [text.body for text in wire.got if text.to_phone == phone]


def handle_all(world, resume: bool) -> None:
    with world.store.write() as session:
        client = session.get_one(Client, world.client_id)
        situation = load(session, client)
        trainer = session.get_one(Trainer, world.trainer_id)
        rows = select(Alert).where(Alert.client_id == client.id, Alert.state != "handled")
        alerts = session.exec(rows.order_by(Alert.kind != "undeliverable")).all()
        for alert in alerts:
            last = resume and alert is alerts[-1]
            key = situation.placement.rung_key if last else None
            handle(
                session,
                world.clock.now(),
                trainer,
                alert,
                situation,
                Handling("phoned", "", key, unhurt()),
            )


def test_what_was_handled_and_resumed_during_an_outage_leaves_nothing_stale(world, down):
    hear(world, world.client_id, "I fell")
    ticks_for(world, every_s=60, minutes=20)
    handle_all(world, resume=True)
    ticks_for(world, every_s=60, hours=1)
    up(down)
    ticks_for(world, every_s=60, minutes=10)
    assert to(down, TRAINER) == to(down, SECOND) == []
    # Beside it there is only the day's prompt.
    got = to(down, CLIENT)
    assert sum("you may practice again" in body for body in got) == 1
    assert sum("steady or wobbly" in body for body in got) == len(got) - 1


def test_a_safety_text_stays_while_another_alert_with_the_same_words_is_open(world, down):
    hear(world, world.client_id, "I fell and my knee hurts")
    with world.store.write() as session:
        fall = session.exec(select(Alert).where(Alert.kind == "pain")).one()
        trainer = session.get_one(Trainer, world.trainer_id)
        situation = load(session, session.get_one(Client, world.client_id))
        handle(session, world.clock.now(), trainer, fall, situation, Handling("phoned"))
    up(down)
    ticks_for(world, minutes=3)
    assert any(body.startswith("Stop and sit") for body in to(down, CLIENT))


@pytest.mark.parametrize(("minutes", "late"), [(25, False), (31, True), (300, True)])
def test_after_thirty_minutes_a_waiting_safety_text_is_replaced_by_one_that_fits(
    world, down, minutes, late
):
    hear(world, world.client_id, "I fell")
    ticks_for(world, every_s=60, minutes=minutes)
    up(down)
    ticks_for(world, minutes=3)
    first, *more = to(down, CLIENT)
    assert first.startswith("Our answer to you was held up." if late else "Stop and sit")
    # The text of a fall asks by itself; the late one is followed by the open question.
    assert "Are you hurt" in (more[0] if late else first)
    assert len(more) == late
    assert "911" in first


def test_after_a_long_outage_each_person_gets_one_page_that_says_how_many(world, down):
    others = [add_person(world, f"+120255503{n:02}", f"Bo{n}") for n in range(3)]
    for client_id in (world.client_id, *others):
        hear(world, client_id, "I fell")
        ticks_for(world, every_s=60, minutes=1)
    ticks_for(world, every_s=60, hours=5)
    up(down)
    ticks_for(world, minutes=3)
    for phone in (TRAINER, SECOND):
        (only,) = to(down, phone)
        assert only == "URGENT: 4 clients need you. Please open the alert inbox now."


def test_with_every_answer_lost_nobody_gets_more_than_three_of_a_kind_an_hour(world):
    wire = by_wire(world)
    world.tick()
    wire.says = [LOST]
    hear(world, world.client_id, "I fell")
    begun, got = world.clock.now(), []
    for _ in range(6 * 60):
        wire.got.clear()
        ticks_for(world, every_s=60, minutes=1)
        minute = (world.clock.now() - begun) / timedelta(minutes=1)
        got += [(minute, text.to_phone, text.body) for text in wire.got]
    for phone in (TRAINER, SECOND, CLIENT):
        for body in {said for _, to_phone, said in got if to_phone == phone}:
            at = [minute for minute, to_phone, said in got if (to_phone, said) == (phone, body)]
            assert max(sum(m <= each < m + 60 for each in at) for m in at) <= 3, (body, at)
    assert any(to_phone == SECOND for minute, to_phone, _ in got if minute <= 2), "another way too"
    fall = world.alerts()["fall"]
    assert "A page may not have arrived. Please phone." in fall.system_did
    assert "The safety text may not have arrived. Please phone." in fall.system_did


def test_an_alert_counts_as_paged_only_from_when_a_page_was_handed_over(world, down):
    def unpaged() -> int:
        with world.store.read() as session:
            return health(session, world.clock.now(), world.clock.now(), ticks=False).urgent_unpaged

    hear(world, world.client_id, "I fell")
    ticks_for(world, every_s=60, minutes=20)
    assert unpaged() >= 1
    up(down)
    ticks_for(world, minutes=2)
    assert unpaged() == 0
    handed = world.alerts()["fall"].paged_at
    ticks_for(world, every_s=60, hours=3)
    assert world.alerts()["fall"].paged_at == handed, "later pages change no history"
    with world.store.read() as session:
        pages = pages_of(session, world.alerts()["fall"].id)
    assert handed == min(page.sent_at for page in pages if page.sent_at)


def test_opened_and_not_handled_it_is_paged_again_and_then_the_second_contact(world):
    wire = by_wire(world)
    hear(world, world.client_id, "I fell")
    with world.store.write() as session:
        fall = session.exec(select(Alert).where(Alert.kind == "fall")).one()
        see(session, world.clock.now(), session.get_one(Trainer, world.trainer_id), fall)
    wire.got.clear()
    ticks_for(world, every_s=30, minutes=29)
    assert to(wire, TRAINER) == to(wire, SECOND) == []
    ticks_for(world, every_s=30, minutes=2)
    assert len(to(wire, TRAINER)) == 1
    assert to(wire, SECOND) == []
    ticks_for(world, every_s=30, minutes=10)
    assert len(to(wire, TRAINER)) == 2
    assert len(to(wire, SECOND)) == 1
    with world.store.read() as session:
        assert session.exec(select(Message).where(Message.state == "failed")).first() is None
