"""Texts from phones that are no client's: read for signs, paged, answered within caps, and given
to the client whom they are about.

A sure sign of harm pages whoever is on duty, again and again until somebody has dealt with it; it
rests nobody until somebody says whom it is about. Then the phone is a second phone of that client:
signs told from it count as the client's, all else waits for the trainer, and it gets answers only.
"""

from collections.abc import Sequence
from datetime import datetime, timedelta

import phonenumbers
from sqlalchemy import delete
from sqlmodel import Session, col, func, select

from rungwise.coach.alerting.alerts import Raised, raise_alert
from rungwise.coach.alerting.duty import on_duty_now
from rungwise.coach.alerting.incidents import LONGEST_PAGE_WAIT_MINUTES
from rungwise.coach.alerting.paging import BY_EMAIL, ways_to
from rungwise.coach.conversation.signs import doubtful, told
from rungwise.coach.daily.client_state import rest_client
from rungwise.coach.daily.said_of_another import as_their_own
from rungwise.coach.outbox.sender_numbers import From
from rungwise.coach.outbox.texts import Text, queue_to_phone
from rungwise.coach.record.audit import record
from rungwise.coach.record.codec import context_to_json, reading_to_json
from rungwise.coach.record.wording import text_for, wording_of
from rungwise.concepts.alert_kinds import Urgency
from rungwise.concepts.client_states import By, State
from rungwise.concepts.questions import QUESTIONS
from rungwise.concepts.signs import SIGNS
from rungwise.errors import NotFound
from rungwise.reply import READER_VERSION, Context, Reading, read
from rungwise.store.due import clear_due, set_due
from rungwise.store.idempotent_inserts import insert_once
from rungwise.store.sealing.crypto import blind
from rungwise.store.tables import (
    Client,
    ClientPhone,
    Message,
    Practice,
    Stranger,
    StrangerText,
    Trainer,
)
from rungwise.wording.texts import alert_words, render

# Answers to strangers a practice sends in a day, and how many of them abroad, so that nobody has
# texts sent at its cost by writing from made-up numbers. Common practice, no source.
MOST_ANSWERS = 100
MOST_ABROAD = 10
LONGEST_WHOSE = 40


def sure_sign(reading: Reading, body: str, language: str, called: str | None = None) -> str | None:
    """The gravest urgent sign that a text surely tells of, of the writer or somebody else."""
    of_another = read(as_their_own(body, language, called), Context(language=language))
    both = {*told(reading), *told(of_another)}
    urgent = (sign for sign, row in SIGNS.items() if row.urgency == Urgency.URGENT)
    return next((sign for sign in urgent if sign in both), None)


def from_stranger(session: Session, now: datetime, practice: Practice, message: Message) -> None:
    """Keep a text from a phone that nobody knows, page about a sure sign, and answer it."""
    reading = _read(session, practice, message, practice.language)
    message.state = "set_aside"
    sign = sure_sign(reading, message.body, practice.language)
    stranger = _stranger(session, now, practice, message)
    if sign is not None:
        stranger.sign = _graver(stranger.sign, sign)
        _page(session, now, practice, stranger)
    _answer(session, now, practice, message, sign is not None)


def _read(session: Session, practice: Practice, message: Message, language: str) -> Reading:
    context = Context(language=language, second_reader=practice.second_reader)
    reading = read(message.body, context)
    message.context, message.reading = context_to_json(context), reading_to_json(reading)
    message.reader_version = READER_VERSION
    session.add(message)
    return reading


def _stranger(session: Session, now: datetime, practice: Practice, message: Message) -> Stranger:
    values = {
        "practice_id": practice.id,
        "phone": message.from_phone,
        "pages": 0,
        "first_at": now,
        "last_at": now,
    }
    found = insert_once(session, Stranger, ["practice_id", "phone"], values)
    if found is None:
        same = select(Stranger).where(
            Stranger.practice_id == practice.id, Stranger.phone == message.from_phone
        )
        found = session.exec(same.with_for_update()).one()
        found.last_at = now
    session.add(found)
    session.add(StrangerText(stranger_id=found.id, message_id=message.id))
    session.flush()
    return found


def _graver(one: str | None, other: str) -> str:
    order = list(SIGNS)
    return other if one is None else min(one, other, key=order.index)


def _page(session: Session, now: datetime, practice: Practice, stranger: Stranger) -> None:
    """Page whoever is on duty, or else the leads, and set when that is repeated."""
    own = wording_of(session, practice.id, practice.language)
    kind = alert_words(SIGNS[stranger.sign].alert if stranger.sign else "other", practice.language)
    body = render("page_stranger", practice.language, own, kind=kind)
    for trainer in on_duty_now(session, now, practice):
        for receiver in ways_to(practice, trainer):
            way = "email" if receiver.by == BY_EMAIL else "text"
            key = f"stranger-page:{stranger.id}:{trainer.id}:{way}:{now.isoformat()}"
            text = Text("page", body, key)
            queue_to_phone(session, now, practice, text, receiver.to, trainer.id, receiver.by)
    stranger.pages += 1
    session.add(stranger)
    minutes = practice.escalate_minutes * 2 ** (stranger.pages - 1)
    wait = timedelta(minutes=min(minutes, LONGEST_PAGE_WAIT_MINUTES))
    set_due(session, "stranger", stranger.id, now + wait)


def page_again(session: Session, now: datetime, stranger_id: int) -> None:
    """Nobody has dealt with a stranger's report of harm in time."""
    stranger = session.get(Stranger, stranger_id)
    if stranger is not None and stranger.sign is not None:
        _page(session, now, session.get_one(Practice, stranger.practice_id), stranger)


def _answer(
    session: Session, now: datetime, practice: Practice, message: Message, sign: bool
) -> None:
    """One answer a day for each phone, and one more when it tells of harm; within the caps."""
    abroad = "abroad" if _abroad(message.from_phone, practice.country) else "here"
    day = now.date().isoformat()
    begun = f"stranger:{practice.id}:{day}:"
    if _keys(session, begun) >= MOST_ANSWERS:
        return
    if abroad == "abroad" and _keys(session, f"{begun}abroad:") >= MOST_ABROAD:
        return
    name = "stranger_sign" if sign else "unknown_number"
    body = render(
        name,
        practice.language,
        wording_of(session, practice.id, practice.language),
        practice=practice.name,
        number=practice.emergency_number,
    )
    key = f"{begun}{abroad}:{blind(session, message.from_phone)}:{name}"
    text = Text("safety" if sign else "answer", body, key)
    here = From(message.carrier, message.to_phone)
    queue_to_phone(session, now, practice, text, message.from_phone, leaves_by=here)


def _keys(session: Session, begun: str) -> int:
    # A range and no LIKE, so that both databases use the index.
    key = col(Message.once_key)
    counted = select(func.count(col(Message.id))).where(key >= begun, key < begun[:-1] + ";")
    return session.exec(counted).one()


def _abroad(phone: str, country: str) -> bool:
    """Whether a number belongs to another calling code; one that cannot be read does."""
    try:
        code = phonenumbers.parse(phone, None).country_code
    except phonenumbers.NumberParseException:
        return True
    return code != phonenumbers.country_code_for_region(country)


# --- a client's second phone ----------------------------------------------------------------------


def second_phone(session: Session, practice_id: int, phone: str) -> ClientPhone | None:
    rows = select(ClientPhone).where(
        ClientPhone.practice_id == practice_id, ClientPhone.phone == phone
    )
    return session.exec(rows).first()


def named(phone: ClientPhone) -> str:
    """The phone, as it is told of."""
    if phone.asked_at is not None:
        return "the new phone, which has not said yes yet"
    return f"the phone of their {phone.whose}"


def from_second_phone(
    session: Session, now: datetime, practice: Practice, phone: ClientPhone, message: Message
) -> None:
    """A text from a client's second phone: signs count as the client's, all else waits."""
    client = session.get_one(Client, phone.client_id)
    reading = _read(session, practice, message, client.language)
    message.client_id, message.state = client.id, "read"
    session.add(message)
    session.flush()
    if reading.kind == "opt_out":
        if phone.stopped_at is None:
            _say(session, now, practice, client, message, "stop_done", "opt_out")
        phone.stopped_at = now
        session.add(phone)
    if not _signs(session, now, practice, client, message, reading, named(phone)):
        did = f"From {named(phone)}. Nothing was moved: it waits for you."
        raise_alert(session, now, practice, client, Raised("request", did), message)
        if phone.stopped_at is None and reading.kind != "opt_out":
            _say(session, now, practice, client, message, "news_kept", "answer")


def _signs(
    session: Session,
    now: datetime,
    practice: Practice,
    client: Client,
    message: Message,
    reading: Reading,
    phone: str,
) -> bool:
    """Act on what harm a text from a client's second phone tells of; whether it told of any."""
    sign = sure_sign(reading, message.body, client.language, client.called)
    if sign is not None:
        rest_client(session, now, client, By.CLIENT)
        did = f"Told from {phone}, answered there. Practice was stopped."
        raise_alert(
            session, now, practice, client, Raised(SIGNS[sign].alert, did, "urgent"), message
        )
        if reading.kind != "opt_out":
            # Told of somebody else, the text speaks of them.
            text = "safety_fall_other" if sign == "fall" else SIGNS[sign].text
            _say(session, now, practice, client, message, text, "safety")
        return True
    if reading.yes_no == "yes" and client.state == State.RESTING:
        # The answer to whether the person is hurt: a yes counts, whoever gives it.
        did = f"The answer from {phone}: the client is hurt or cannot get up."
        raise_alert(session, now, practice, client, Raised("emergency", did, "urgent"), message)
        _say(session, now, practice, client, message, "hurt_yes", "safety")
        return True
    asked = doubtful(reading)
    if asked:
        did = f"It may be told in a text from {phone}. Please phone."
        kind = QUESTIONS[asked[0]].alert or "unread"
        raise_alert(session, now, practice, client, Raised(kind, did, "today"), message)
        return True
    return False


def _say(
    session: Session,
    now: datetime,
    practice: Practice,
    client: Client,
    message: Message,
    name: str,
    kind: str,
) -> None:
    """Answer the phone that wrote, with each text once an hour, for a machine may be there; no
    text of the client's own goes there.
    """
    body = text_for(session, practice, client, name)
    here = From(message.carrier, message.to_phone)
    phone = blind(session, message.from_phone)
    key = f"second:{client.id}:{now:%Y-%m-%dT%H}:{phone}:{name}"
    text = Text(kind, body, key)
    queue_to_phone(session, now, practice, text, message.from_phone, leaves_by=here)


# --- what a trainer does about them ---------------------------------------------------------------


def open_strangers(session: Session, practice_id: int) -> Sequence[Stranger]:
    """The unknown numbers nobody has dealt with, those that tell of harm first."""
    rows = select(Stranger).where(Stranger.practice_id == practice_id)
    return session.exec(
        rows.order_by(col(Stranger.sign).is_(None), col(Stranger.last_at).desc()).limit(200)
    ).all()


def texts_of(session: Session, stranger_id: int) -> list[Message]:
    rows = (
        select(Message)
        .join(StrangerText, col(StrangerText.message_id) == col(Message.id))
        .where(StrangerText.stranger_id == stranger_id)
    )
    return list(session.exec(rows.order_by(col(Message.id))).all())


def stranger_of(session: Session, trainer: Trainer, stranger_id: int) -> Stranger:
    """The unknown number, if it texted this trainer's practice; NotFound otherwise."""
    found = session.get(Stranger, stranger_id, with_for_update=True)
    if found is None or found.practice_id != trainer.practice_id:
        raise NotFound("There is no such unknown number.")
    return found


def set_aside(session: Session, now: datetime, trainer: Trainer, stranger: Stranger) -> None:
    """It is about nobody here: no more pages. Its texts stay as every text does."""
    record(
        session, now, trainer, "unknown number set aside", texts=forget_stranger(session, stranger)
    )


def forget_stranger(session: Session, stranger: Stranger) -> int:
    """Somebody has dealt with it; how many texts it had sent."""
    clear_due(session, "stranger", stranger.id)
    count = len(texts_of(session, stranger.id))
    session.execute(delete(StrangerText).where(col(StrangerText.stranger_id) == stranger.id))
    session.delete(stranger)
    session.flush()
    return count


def belongs_to(
    session: Session,
    now: datetime,
    trainer: Trainer,
    stranger: Stranger,
    client: Client,
    whose: str,
) -> None:
    """The phone is a second one of this client: what it told of harm is now the client's."""
    practice = session.get_one(Practice, stranger.practice_id)
    values = {
        "practice_id": practice.id,
        "client_id": client.id,
        "phone": stranger.phone,
        "whose": whose.strip()[:LONGEST_WHOSE] or "somebody close",
        "added_by": trainer.id,
        "added_at": now,
    }
    insert_once(session, ClientPhone, ["practice_id", "phone"], values)
    for message in texts_of(session, stranger.id):
        message.client_id, message.state = client.id, "read"
        session.add(message)
        session.flush()
        reading = read(message.body, Context(language=client.language))
        sign = sure_sign(reading, message.body, client.language, client.called)
        if sign is not None:
            rest_client(session, now, client, By.CLIENT)
            did = "Told from a phone that was unknown then. Practice was stopped."
            raise_alert(
                session, now, practice, client, Raised(SIGNS[sign].alert, did, "urgent"), message
            )
    forget_stranger(session, stranger)
    record(session, now, trainer, "second phone added", client_id=client.id)
