"""Pages by e-mail beside the text: over a real mail server, and by the other way when one fails."""

import socket
from datetime import timedelta

import pytest
from postbox import SERVICE, free_port
from sqlmodel import select
from wire import Wire

from rungwise.carriers.base import (
    Accepted,
    Callback,
    Forged,
    OutboundText,
    Receipt,
    Refused,
    TryLater,
    Unknown,
)
from rungwise.carriers.email import WITHIN_S, Mail, MailServer
from rungwise.coach.alerting.paging import pages_of
from rungwise.coach.daily.delivery import note_receipts
from rungwise.coach.monitoring.health import health
from rungwise.coach.outbox.claiming import LEASE
from rungwise.store.queries.banner_counts import Scope, watch
from rungwise.store.tables import AlertPage, Message, Practice, Trainer
from rungwise.ticks.jobs import due_tick, send_tick

# On SQLite alone: what PostgreSQL does otherwise is tried by the other tests here.
one_store = pytest.mark.parametrize("store", ["sqlite"], indirect=True)
PHONE = "+12025550101"
SECOND = "+12025550102"


@pytest.fixture
def ways(world, box, wire):
    """The world's ways out: texts by `wire`, e-mail to `box`; taken out of it to be missing."""
    with world.store.write() as session:
        session.exec(select(Practice)).one().carrier = "wire"
    carriers = {"wire": wire, "email": box.mail}

    def tick() -> None:
        due_tick(world.store, world.clock)
        while send_tick(world.store, carriers, world.clock):
            pass

    world.tick = tick
    world.tick()
    world.pass_time(hours=1)
    wire.got.clear()
    return carriers


@pytest.fixture
def outbox_news(world):
    """Gives a receipt about the last page."""

    def news(state: str) -> None:
        with world.store.write() as session:
            page = session.exec(
                select(Message).where(Message.kind == "page").order_by(Message.id.desc())
            ).first()
            receipt = Receipt(page.carrier_id, state, message_id=page.id)
            note_receipts(session, world.clock.now(), "wire", [receipt])

    return news


def choose(world, page_by: str, phone: str | None = PHONE) -> None:
    with world.store.write() as session:
        trainer = session.get_one(Trainer, world.trainer_id)
        trainer.page_by, trainer.phone = page_by, phone


def texted(wire: Wire) -> list[str]:
    """Who got a page by text."""
    return [text.to_phone for text in wire.got if text.to_phone in (PHONE, SECOND)]


def unpaged(world) -> int:
    with world.store.read() as session:
        return health(session, world.clock.now(), world.clock.now(), ticks=False).urgent_unpaged


@one_store
@pytest.mark.parametrize(
    ("page_by", "phone", "texts", "letters"),
    [
        ("text", PHONE, 1, 0),
        ("email", PHONE, 0, 1),
        ("both", PHONE, 1, 1),
        ("text", None, 0, 1),
        ("both", None, 0, 1),
    ],
)
def test_a_trainer_is_paged_the_way_they_chose(
    world, ways, box, wire, page_by, phone, texts, letters
):
    choose(world, page_by, phone)
    world.reply("I fell")
    assert len(texted(wire)) == texts
    assert len(box.letters) == letters
    assert box.receivers == ["t@example.org"] * letters
    assert unpaged(world) == 0


@one_store
def test_the_letter_names_nobody_and_says_where_to_look(world, ways, box):
    choose(world, "email")
    world.reply("I fell in the kitchen")
    (letter,) = box.letters
    assert letter["To"] == "t@example.org"
    assert letter["Subject"] == (
        "URGENT: a client reports a fall. Please open the alert inbox now."
    )
    assert f"{SERVICE}/" in letter.get_content()
    for secret in ("Ada", "Sample", "kitchen", "5550103"):
        assert secret not in letter.as_string()


def test_a_letter_is_repeated_too_and_the_second_contact_texted(world, ways, box, wire):
    choose(world, "email")
    world.reply("I fell")
    world.pass_time(minutes=31)
    assert [str(letter["Subject"]).split(":")[0] for letter in box.letters] == [
        "URGENT",
        "STILL OPEN",
        "STILL OPEN",
    ]
    assert texted(wire) == [SECOND, SECOND]


@one_store
def test_without_a_second_contact_the_practice_lead_is_paged_instead(world, ways, box, wire):
    with world.store.write() as session:
        trainer = session.get_one(Trainer, world.trainer_id)
        trainer.second_contact_name = trainer.second_contact_phone = None
        session.add(
            Trainer(
                practice_id=trainer.practice_id,
                name="Lena Lead",
                email="lead@example.org",
                password_hash="none",
                role="lead",
                phone=SECOND,
                created_at=world.clock.now(),
            )
        )
    world.reply("I fell")
    assert texted(wire) == [PHONE]
    world.pass_time(minutes=11)
    assert sorted(texted(wire)) == [PHONE, PHONE, SECOND]


@one_store
def test_a_letter_whose_answer_was_lost_goes_again_under_the_same_id(world, ways, box):
    choose(world, "email")
    box.answer = "451 try later"
    world.reply("I fell")
    assert box.letters == []
    box.answer = "250 OK"
    world.pass_time(minutes=2)
    with world.store.read() as session:
        page = session.exec(select(Message).where(Message.kind == "page")).one()
    (letter,) = box.letters
    assert (page.state, page.attempts, page.carrier) == ("sent", 2, "email")
    assert letter["Message-ID"] == page.carrier_id == f"<rungwise-{page.id}@example.org>"


@one_store
def test_a_refused_text_goes_by_email(world, ways, box, wire):
    wire.says = [Refused("No such number.")]
    world.reply("I fell")
    assert len(box.letters) == 1
    assert "fall" in box.letters[0]["Subject"]
    assert unpaged(world) == 0


@one_store
def test_what_the_second_contact_does_not_get_is_no_letter_to_the_trainer(world, ways, box, wire):
    wire.says = [
        lambda text: Refused("No.") if text.to_phone == SECOND else Accepted(f"w-{text.id}")
    ]
    world.reply("I fell")
    world.pass_time(minutes=11)
    assert SECOND in texted(wire)
    assert box.letters == []
    assert unpaged(world) == 0


@one_store
def test_a_refused_letter_goes_by_text(world, ways, box, wire):
    choose(world, "email")
    box.answer = "550 no such mailbox"
    world.reply("I fell")
    assert texted(wire) == [PHONE]
    assert unpaged(world) == 0


def test_a_text_that_does_not_leave_for_five_minutes_goes_by_email_once(world, ways, box, wire):
    wire.says = [TryLater("The carrier could not be reached.")]
    world.reply("I fell")
    assert box.letters == []
    world.pass_time(minutes=6)
    assert len(box.letters) == 1
    # Nor does the letter go back by text when it fails in its turn.
    with world.store.read() as session:
        keys = session.exec(select(Message.once_key).where(Message.carrier == "email")).all()
    assert all(key.startswith("other-way:") for key in keys)


@one_store
def test_without_a_mail_server_a_wish_for_email_becomes_a_text(world, ways, wire):
    choose(world, "email")
    del ways["email"]
    world.reply("I fell")
    assert texted(wire) == [PHONE]
    assert unpaged(world) == 0


@pytest.mark.parametrize("left", ["nothing", "a phone that is refused"])
def test_when_every_way_fails_the_alert_stands_as_unpaged(world, ways, wire, left):
    """Queued is not paged: what failed for good must not look as if somebody knew."""
    choose(world, "text", None if left == "nothing" else PHONE)
    del ways["email"]
    wire.says = [Refused("No such number.")]
    world.reply("I fell")
    assert unpaged(world) >= 1
    with world.store.read() as session:
        practice = session.exec(select(Practice)).one()
        assert watch(session, Scope(practice.id, None)).urgent_waiting >= 1
        found = health(session, world.clock.now(), world.clock.now(), ticks=False)
    assert any("no page was handed over" in problem for problem in found.problems)
    # It is tried again by the next repetition, and then somebody is reached.
    wire.says = [lambda text: Accepted(f"w-{text.id}")]
    choose(world, "text", PHONE)
    world.pass_time(minutes=11)
    assert unpaged(world) == 0
    assert PHONE in texted(wire)


@one_store
def test_a_receipt_that_says_it_failed_counts_the_alert_as_unpaged(world, ways, outbox_news):
    del ways["email"]
    with world.store.write() as session:
        session.get_one(Trainer, world.trainer_id).second_contact_phone = None
    world.reply("I fell")
    assert unpaged(world) == 0
    outbox_news("failed")
    world.tick()
    assert unpaged(world) == 1


def test_a_page_about_two_alerts_is_linked_to_both(world, ways):
    world.reply("I fell and my knee hurts")
    alerts = world.alerts()
    with world.store.read() as session:
        fall, pain = (
            {page.id for page in pages_of(session, alerts[kind].id)} for kind in ("fall", "pain")
        )
        assert fall
        assert fall == pain
        assert len(session.exec(select(AlertPage)).all()) == 2


@one_store
def test_the_demo_never_sends_email(world, ways, box):
    choose(world, "both")
    with world.store.write() as session:
        session.exec(select(Practice)).one().is_demo = True
    world.reply("I fell")
    assert box.letters == []


@one_store
def test_a_text_is_never_moved_to_the_mail_server_nor_a_letter_to_a_carrier(world, ways, wire):
    """When e-mail is down, its letters wait or go by text afresh: an address is no number."""
    choose(world, "both")
    ways["email"] = Mail(MailServer("127.0.0.1", "s@example.org", free_port(), "none"), SERVICE)
    world.reply("I fell")
    world.pass_time(minutes=12)
    assert all("@" not in text.to_phone for text in wire.got)
    with world.store.read() as session:
        letters = session.exec(select(Message).where(Message.carrier == "email")).all()
    assert letters
    assert all(letter.to_phone == "t@example.org" for letter in letters)


def test_nothing_comes_in_by_email(box):
    with pytest.raises(Forged):
        box.mail.hear(Callback("POST", "/in/email", {}, {}))


def test_our_own_settings_being_wrong_is_no_fault_of_the_message(box):
    """A refusal of ours counts as a carrier that fails, so that the lead hears of it."""
    letter = OutboundText(7, "", "t@example.org", "URGENT.")
    wants_tls = Mail(MailServer("127.0.0.1", "s@example.org", box.port, "starttls"), SERVICE)
    assert isinstance(wants_tls.send(letter), TryLater)
    nobody = Mail(MailServer("127.0.0.1", "s@example.org", free_port(), "none"), SERVICE)
    assert isinstance(nobody.send(letter), TryLater)


def test_a_mail_server_that_hangs_is_given_up_and_may_have_taken_it():
    with socket.create_server(("127.0.0.1", 0)) as silent:
        port = silent.getsockname()[1]
        server = MailServer("127.0.0.1", "s@example.org", port, "none", within_s=0.2)
        answer = Mail(server, SERVICE).send(OutboundText(7, "", "t@example.org", "URGENT."))
    assert isinstance(answer, Unknown)
    assert timedelta(seconds=WITHIN_S) < LEASE
