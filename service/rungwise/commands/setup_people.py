"""The practice, its first lead and the test text of `rungwise setup`."""

from collections.abc import Callable
from time import monotonic, sleep

from sqlmodel import Session, col, select

from rungwise.carriers.phone import to_e164
from rungwise.coach.accounts.invitations import invite_first
from rungwise.coach.accounts.trainers import add_trainer
from rungwise.coach.outbox.texts import Text, queue_to_phone
from rungwise.coach.record.audit import record_by_service
from rungwise.commands.setup_asking import Asker
from rungwise.commands.setup_questions import LEAD, PRACTICE, Answers
from rungwise.concepts.measures import usual
from rungwise.errors import ImpossibleValue, NotFound
from rungwise.parts import Parts
from rungwise.store.tables import Message, Practice, Trainer
from rungwise.ticks.jobs import send_tick
from rungwise.wording.safety import emergency_number

TEST_WORDS = "Rungwise test: texts from this number reach this phone. Nobody needs to answer."
PATIENCE_S = 40.0
Ask = Callable[..., dict[str, str]]


def first_people(asker: Asker, parts: Parts, carrier: str, ask: Ask) -> None:
    """A practice and its lead, where the database has none yet."""
    with parts.store.read() as session:
        practices = session.exec(select(Practice).order_by(col(Practice.id))).all()
        leads = select(Trainer.practice_id).where(Trainer.role == "lead", col(Trainer.active))
        led = set(session.exec(leads).all())
    # Of several, the one that nobody leads is the one to set up.
    practice = min(practices, key=lambda each: each.id in led, default=None)
    if practice is not None:
        print(f"The practice {practice.name} is there already.")
        _change_carrier(asker, parts, practice, carrier)
        if practice.id in led:
            return
    told = {} if practice is not None else ask(asker, PRACTICE, {})
    country = practice.country if practice is not None else told["practice.country"]
    lead = ask(asker, LEAD, {}, {"practice.country": country})
    with parts.store.write() as session:
        kept = practice or make_practice(session, parts, told, carrier)
        token = _lead(session, parts, kept, lead)
    if token is None:
        print(f"{lead['lead.name']} may sign in at {parts.settings.public_url}/ as the lead.")
        return
    print(f"{parts.settings.public_url}/welcome/{token}")
    print("Hand this link to the lead, who chooses a password by it. It works once, for 7 days.")
    print("The first page then lists what to settle before the first text, a test page among it.")


def _change_carrier(asker: Asker, parts: Parts, practice: Practice, carrier: str) -> None:
    if practice.carrier == carrier:
        return
    if asker.agrees(f"It texts by {practice.carrier}. Change that to {carrier}?"):
        with parts.store.write() as session:
            session.get_one(Practice, practice.id).carrier = carrier


def make_practice(session: Session, parts: Parts, told: Answers, carrier: str) -> Practice:
    """A practice from the checked answers to PRACTICE."""
    country = told["practice.country"]
    phone = told["practice.phone"]
    measures = usual(country)
    practice = Practice(
        name=told["practice.name"],
        phone=phone,
        country=country,
        language=told["practice.language"],
        time_zone=told["practice.zone"],
        emergency_number=emergency_number(country),
        carrier=carrier,
        lengths=measures.lengths,
        clock=measures.clock,
        created_at=parts.clock.now(),
    )
    session.add(practice)
    session.flush()
    record_by_service(session, practice.created_at, practice.id, "practice added")
    print(f"{practice.name} texts from {phone}; safety texts name {practice.emergency_number}.")
    return practice


def _lead(session: Session, parts: Parts, practice: Practice, told: Answers) -> str | None:
    """The token of the lead's invitation; None when they have a password already."""
    now, name, email = parts.clock.now(), told["lead.name"], told["lead.email"]
    if not told["lead.password"]:
        return invite_first(session, now, practice.id, name, email, phone=told["lead.phone"])
    if session.exec(select(Trainer.id).where(Trainer.email == email)).first() is not None:
        raise ImpossibleValue("e-mail address", email, "one that no trainer here has yet")
    trainer = add_trainer(session, now, practice, name, email, told["lead.password"])
    trainer.role, trainer.phone = "lead", told["lead.phone"]
    session.add(trainer)
    return None


def send_test(parts: Parts, phone: str) -> bool:
    """Send one text from the first practice's number by its carrier; whether it was taken."""
    with parts.store.write() as session:
        practice = session.exec(select(Practice).order_by(col(Practice.id))).first()
        if practice is None:
            raise NotFound("There is no practice to send a text from yet. Run `rungwise setup`.")
        number = to_e164(phone, practice.country)
        text = Text("test", TEST_WORDS)
        message = queue_to_phone(session, parts.clock.now(), practice, text, number)
        if message is None:  # only a text with a once_key can be there already
            return False
        message_id = message.id
    until = monotonic() + PATIENCE_S
    while monotonic() < until:
        # The running service may be quicker, and whoever claims the text sends it.
        send_tick(parts.store, parts.carriers, parts.clock)
        with parts.store.read() as session:
            row = session.get_one(Message, message_id)
        if row.state not in ("queued", "sending"):
            break
        sleep(0.2)
    if row.state in ("sent", "delivered"):
        print(f"{row.carrier} took the test text to {number}. Look whether it arrives.")
        return True
    print(f"The test text did not leave by {row.carrier}: {row.problem or 'it still waits.'}")
    return False
