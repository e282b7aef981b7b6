"""A carrier that fails is told to the practice lead by the other way, by nothing but the ticks."""

from datetime import timedelta

import pytest
from postbox import free_port
from sqlmodel import select
from wire import Wire

from rungwise.carriers.base import Accepted, Refused, TryLater
from rungwise.carriers.email import Mail, MailServer
from rungwise.coach.monitoring.health import health
from rungwise.coach.monitoring.outage_notices import watch_carriers
from rungwise.store.queries.banner_counts import Scope, watch
from rungwise.store.tables import Message, Number, Practice, Trainer, WatchNotice
from rungwise.ticks.jobs import due_tick, send_tick

# On SQLite alone: what PostgreSQL does otherwise is tried by the other tests here.
one_store = pytest.mark.parametrize("store", ["sqlite"], indirect=True)
PATIENCE = timedelta(minutes=5)
LEAD = "+12025550109"
DOWN = TryLater("The carrier could not be reached.")


@pytest.fixture
def ways(world, box, wire):
    """Ticks as the service runs them: what is due, what waits, and the watch, minute by minute."""
    with world.store.write() as session:
        practice = session.exec(select(Practice)).one()
        practice.carrier = "wire"
        lead = Trainer(
            practice_id=practice.id, name="Lena Lead", email="lead@example.org",
            password_hash="none", role="lead", phone=LEAD, created_at=world.clock.now(),
        )  # fmt: skip
        session.add(lead)
    carriers = {"wire": wire, "email": box.mail}

    def tick() -> None:
        due_tick(world.store, world.clock)
        watch_carriers(world.store, world.clock.now(), carriers.keys(), PATIENCE)
        while send_tick(world.store, carriers, world.clock):
            pass

    def minutes(count: int, step: int = 1) -> None:
        for _ in range(0, count, step):
            world.clock.advance(timedelta(minutes=step))
            tick()

    world.tick, world.minutes = tick, minutes
    world.tick()
    return carriers


def subjects(box) -> list[str]:
    return [str(letter["Subject"]) for letter in box.letters if letter["To"] == "lead@example.org"]


def texts(wire) -> list[str]:
    return [text.body for text in wire.got if text.to_phone == LEAD]


def notices(world) -> list[WatchNotice]:
    with world.store.read() as session:
        return list(session.exec(select(WatchNotice)).all())


@one_store
def test_a_carrier_that_is_down_is_told_by_email_after_the_set_time(world, ways, box, wire):
    wire.says = [DOWN]
    world.reply("HELP")
    world.minutes(4)
    assert subjects(box) == []
    world.minutes(3)
    (subject,) = subjects(box)
    assert subject.startswith("Harbour Balance: no text has left by wire for")
    assert texts(wire) == []
    world.minutes(60, step=20)
    assert len(subjects(box)) == 1, "once, not every minute"
    world.minutes(200, step=50)
    assert len(subjects(box)) == 2, "and again after four hours"


def test_it_shows_on_every_page_and_to_monitors_and_is_told_when_over(world, ways, box, wire):
    wire.says = [DOWN]
    world.reply("HELP")
    world.minutes(8)
    with world.store.read() as session:
        practice = session.exec(select(Practice)).one()
        assert watch(session, Scope(practice.id, None)).failing == "wire"
        found = health(session, world.clock.now(), world.clock.now(), ticks=False)
    assert any("Nothing leaves by wire" in problem for problem in found.problems)
    wire.says = [lambda text: Accepted(f"w-{text.id}")]
    world.minutes(4)
    assert subjects(box)[-1] == "Harbour Balance: wire works again."
    assert notices(world) == []
    with world.store.read() as session:
        assert watch(session, Scope(practice.id, None)).failing == ""


@one_store
def test_a_mail_server_that_is_down_is_told_by_text(world, ways, wire):
    ways["email"] = Mail(MailServer("127.0.0.1", "s@example.org", free_port(), "none"), "https://x")
    with world.store.write() as session:
        session.get_one(Trainer, world.trainer_id).page_by = "both"
    world.pass_time(hours=1)
    world.reply("I fell")
    world.minutes(8)
    (told,) = texts(wire)
    assert "no e-mail has left" in told


def test_where_texts_and_mail_fail_every_page_says_so_of_the_texts(world):
    """Of e-mail it says that pages go by text: that would be untrue then."""
    with world.store.write() as session:
        practice = session.exec(select(Practice)).one()
        for what in ("email", "kannel"):
            at = world.clock.now()
            session.add(WatchNotice(practice_id=practice.id, what=what, since=at))
            session.flush()
            assert watch(session, Scope(practice.id, None)).failing == what
        session.delete(session.get_one(WatchNotice, (practice.id, "email")))
        session.flush()
        assert watch(session, Scope(practice.id, None)).failing == "kannel"


def test_a_carrier_that_refuses_everything_counts_as_failing(world, ways, box, wire):
    """A wrong password answers at once and opens no circuit."""
    wire.says = [Refused("Kannel refused our user name.")]
    world.pass_time(hours=1)
    world.reply("I fell")
    world.minutes(7)
    assert any("no text has left by wire" in subject for subject in subjects(box))


@one_store
def test_refusals_of_one_phone_between_others_are_no_failing_carrier(world, ways, box, wire):
    answers = iter(range(1000))
    wire.says = [
        lambda text: Accepted(f"w-{text.id}") if next(answers) % 2 else Refused("No such number.")
    ]
    world.pass_time(hours=1)
    world.reply("I fell")
    world.minutes(30, step=5)
    assert [what for what in notices(world) if what.what == "wire"] == []


@one_store
def test_with_a_second_number_it_is_told_by_that_too(world, ways, box, wire):
    with world.store.write() as session:
        practice = session.exec(select(Practice)).one()
        number = Number(practice_id=practice.id, carrier="spare", phone="+12025550177")
        session.add(number)
    ways["spare"] = spare = Wire("spare")
    wire.says = [DOWN]
    world.reply("HELP")
    world.minutes(12)
    assert subjects(box)
    assert any("no text has left by wire" in text for text in texts(spare))


@one_store
def test_with_no_way_left_it_is_kept_and_told_as_soon_as_there_is_one(world, ways, box, wire):
    mail = ways.pop("email")
    wire.says = [DOWN]
    world.reply("HELP")
    world.minutes(10)
    (notice,) = notices(world)
    assert notice.told_at is None
    ways["email"] = mail
    world.minutes(2)
    assert len(subjects(box)) == 1


@one_store
def test_nobody_but_active_leads_is_told_and_never_on_a_demo(world, ways, box, wire):
    with world.store.write() as session:
        session.exec(select(Practice)).one().is_demo = True
    wire.says = [DOWN]
    world.reply("HELP")
    world.minutes(10)
    assert box.letters == []
    with world.store.write() as session:
        session.exec(select(Practice)).one().is_demo = False
    world.minutes(2)
    assert set(box.receivers) == {"lead@example.org"}


@one_store
def test_a_text_put_off_for_the_night_is_no_failing_carrier(world, ways, box):
    with world.store.write() as session:
        text = session.exec(select(Message)).first()
        waiting = Message(**{
            **text.model_dump(exclude={"id", "carrier_id", "once_key"}), "state": "queued",
            "attempts": 0, "not_before": world.clock.now() + timedelta(hours=9),
            "not_after": world.clock.now() + timedelta(hours=20),
        })  # fmt: skip
        session.add(waiting)
    world.minutes(30, step=5)
    assert notices(world) == []
    assert box.letters == []
