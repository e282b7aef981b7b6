"""A client's new phone: it is asked first, and texts go there once it has answered YES.

Until then texts go on to the old one: that is where the client agreed to them, and to stop would
leave them without. Whatever else the new phone writes counts as from a second phone: signs of harm
are the client's, all else waits for the trainer.
"""

from collections.abc import Sequence
from datetime import datetime, timedelta

from sqlmodel import Session, select

from rungwise.coach.alerting.alerts import Raised, raise_alert
from rungwise.coach.conversation.signs import doubtful, told
from rungwise.coach.daily.strangers import second_phone, sure_sign
from rungwise.coach.outbox.texts import Text, queue_to_client, redirect
from rungwise.coach.record import questions
from rungwise.coach.record.audit import record, record_by_service
from rungwise.coach.record.codec import context_to_json, reading_to_json
from rungwise.coach.record.wording import text_for
from rungwise.concepts.client_states import State
from rungwise.errors import ImpossibleValue
from rungwise.reply import READER_VERSION, Context, read
from rungwise.store.due import clear_due, set_due
from rungwise.store.tables import Client, ClientPhone, Message, Practice, Trainer

ASK = "ask_new_phone"
OWN = "own"
WAITS = timedelta(days=2)
# Nothing is sent to somebody who has not agreed to texts, or has ended them.
NOT_ASKED = (State.INVITED, State.STOPPED)


def refuse_taken(session: Session, client: Client, phone: str) -> None:
    """ImpossibleValue for a phone that somebody else of the practice has, or is asked on."""
    other = select(Client.id).where(
        Client.practice_id == client.practice_id, Client.phone == phone, Client.id != client.id
    )
    second = second_phone(session, client.practice_id, phone)
    if session.exec(other).first() is not None or (second and second.client_id != client.id):
        raise ImpossibleValue("phone", phone, "a number that no other client of the practice has")


def phones_of(session: Session, client_id: int) -> Sequence[ClientPhone]:
    """The client's phones beside the one that texts go to: second ones, and one that was asked."""
    rows = select(ClientPhone).where(ClientPhone.client_id == client_id)
    return session.exec(rows).all()


def asked_of(session: Session, client_id: int) -> ClientPhone | None:
    """The phone that was asked and has not answered, if there is one."""
    found = phones_of(session, client_id)
    return next((one for one in found if one.asked_at is not None), None)


def change_phone(
    session: Session, now: datetime, trainer: Trainer, client: Client, phone: str
) -> None:
    """Ask the new phone; for somebody who gets no texts it is the client's at once."""
    refuse_taken(session, client, phone)
    _forget_asked(session, client)
    if client.state in NOT_ASKED:
        _take_over(session, client, phone)
        return
    row = second_phone(session, client.practice_id, phone)
    if row is None:
        row = ClientPhone(
            practice_id=client.practice_id,
            client_id=client.id,
            phone=phone,
            whose=OWN,
            added_by=trainer.id,
            added_at=now,
        )
    row.asked_at, row.stopped_at = now, None
    session.add(row)
    _say(session, now, client, "notice", ASK, phone)
    set_due(session, "new_phone", client.id, now + WAITS)


def keep_old_phone(session: Session, now: datetime, trainer: Trainer, client: Client) -> None:
    """Take back that a new phone was asked: texts go on where they went."""
    if asked_of(session, client.id) is None:
        return
    _forget_asked(session, client)
    client.version += 1
    session.add(client)
    record(session, now, trainer, "new phone taken back", client_id=client.id)


def _forget_asked(session: Session, client: Client) -> None:
    """No phone is asked any more; one that was a second phone before is so again."""
    clear_due(session, "new_phone", client.id)
    row = asked_of(session, client.id)
    if row is None:
        return
    if row.whose == OWN:
        session.delete(row)
    else:
        row.asked_at = None
        session.add(row)
    session.flush()


def _take_over(session: Session, client: Client, phone: str) -> None:
    """Texts go to this phone from now on, also those that wait."""
    second = second_phone(session, client.practice_id, phone)
    if second is not None:
        session.delete(second)
    client.phone = phone
    session.add(client)
    session.flush()
    redirect(session, client.id, phone)


def answered(session: Session, now: datetime, phone: ClientPhone, message: Message) -> bool:
    """Whether a text answers what the new phone was asked; then it is acted on.

    False for all else, which is heard as from any second phone: also a yes while a question about
    safety is open, for it may be the answer to that.
    """
    client = session.get_one(Client, phone.client_id, with_for_update={"key_share": True})
    context = Context(language=client.language, asked="invite")
    reading = read(message.body, context)
    sign = told(reading) or doubtful(reading) or sure_sign(reading, message.body, client.language)
    in_doubt = questions.open_doubt(session, client.id) is not None
    if phone.asked_at is None or sign or in_doubt or reading.answer not in ("yes", "no"):
        return False
    message.client_id, message.state = client.id, "read"
    message.context, message.reading = context_to_json(context), reading_to_json(reading)
    message.reader_version = READER_VERSION
    session.add(message)
    session.flush()
    if reading.answer == "no":
        _refused(session, now, client, phone, message)
    elif not _others(session, client, phone):
        _confirmed(session, now, client, phone)
    return True


def _others(session: Session, client: Client, phone: ClientPhone) -> bool:
    """Whether the number has become another client's since it was asked."""
    rows = select(Client.id).where(
        Client.practice_id == client.practice_id,
        Client.phone == phone.phone,
        Client.id != client.id,
    )
    return session.exec(rows).first() is not None


def _confirmed(session: Session, now: datetime, client: Client, phone: ClientPhone) -> None:
    new = phone.phone
    clear_due(session, "new_phone", client.id)
    _take_over(session, client, new)
    client.version += 1
    client.last_reply_at = now
    session.add(client)
    record_by_service(session, now, client.practice_id, "new phone said yes", client_id=client.id)
    _say(session, now, client, "answer", "new_phone_yes", new)


def _refused(
    session: Session, now: datetime, client: Client, phone: ClientPhone, message: Message
) -> None:
    new = phone.phone
    _forget_asked(session, client)
    did = f"{new} answers that texts shall not come there. They go on to {client.phone}."
    _tell(session, now, client, did, message)
    _say(session, now, client, "answer", "new_phone_no", new)


def unanswered(session: Session, now: datetime, client_id: int) -> None:
    """The new phone has not answered for days: the trainer is told, and asks in person."""
    client = session.get_one(Client, client_id)
    phone = asked_of(session, client_id)
    if phone is not None:
        did = f"{phone.phone} has not answered for two days. Texts go on to {client.phone}."
        _tell(session, now, client, did)


def _tell(
    session: Session, now: datetime, client: Client, did: str, message: Message | None = None
) -> None:
    practice = session.get_one(Practice, client.practice_id)
    raise_alert(session, now, practice, client, Raised("request", did, "today"), message)


def _say(session: Session, now: datetime, client: Client, kind: str, name: str, phone: str) -> None:
    practice = session.get_one(Practice, client.practice_id)
    text = Text(kind, text_for(session, practice, client, name), name=name)
    queue_to_client(session, now, practice, client, text, phone)
