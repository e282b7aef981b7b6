"""What a text from a client sets off.

1. The carrier's callback was checked for its signature before it came here.
2. Store the text; a repeat of the carrier's id ends here.
3. Find who sent it; a stranger's text is kept, shown, and paged about when it tells of harm.
4. Read it, with what was asked last as context.
5. Decide, and store report, move, alert and answer in the same transaction.
6. The caller commits, and only then says 200 to the carrier.
"""

import logging
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

from sqlmodel import Session, col, select

from rungwise.carriers.base import InboundText
from rungwise.carriers.phone import same_phone
from rungwise.coach.alerting.alerts import Raised, raise_alert
from rungwise.coach.conversation.dossier import Dossier, Lately
from rungwise.coach.conversation.evolve import after_word
from rungwise.coach.conversation.on_text import context_of, on_text
from rungwise.coach.conversation.signs import doubtful, told
from rungwise.coach.daily import new_phone, strangers
from rungwise.coach.daily.addressed import Addressed, Arrival, addressed_to
from rungwise.coach.daily.apply import apply
from rungwise.coach.daily.dossiers import SHORTEST_QUOTE, load_bare, load_many
from rungwise.coach.daily.heard_lately import HeardLately
from rungwise.coach.daily.page_answers import page_answered
from rungwise.coach.outbox.multipart import Joined, join_what_came, keep_part
from rungwise.coach.record import questions
from rungwise.coach.record.codec import context_to_json, reading_to_json
from rungwise.logs import named
from rungwise.reply import READER_VERSION, Context, Reading, read
from rungwise.reply.long_texts import is_long
from rungwise.store.database import is_passing
from rungwise.store.deferred_writes import rows_may_wait
from rungwise.store.due import set_due
from rungwise.store.idempotent_inserts import insert_all_once
from rungwise.store.salvage import salvage, salvage_one
from rungwise.store.tables import Client, InboundPart, Message, Placement, Practice

log = logging.getLogger(__name__)

# What tells one inbound text from all others.
UNIQUE = ("carrier", "direction", "carrier_id")
READ_AGAIN_AFTER = timedelta(minutes=10)
READ_AGAIN_WITHIN = timedelta(hours=12)
WHOSE = (
    "This text came to a number that is no practice's, and more than one practice has its sender "
    "as a client. Nothing was taken from it but signs of harm. Please read it yourself."
)
TOO_LONG = (
    "This text is so long that only its beginning, its end and what sounded of harm were taken "
    "in. Please read all of it yourself."
)


def receive(session: Session, now: datetime, carrier: str, inbound: InboundText) -> Message | None:
    """Store one inbound text and everything it sets off; None when it was here already.

    One part of a long text is kept until the others have come, and gives None until then.
    """
    if inbound.part is None:
        return _receive_whole(session, now, [Arrival(carrier, inbound)])[0]
    message = None
    for joined in keep_part(session, now, carrier, inbound, inbound.part):
        message = _receive_joined(session, now, carrier, joined)
    return message


def receive_together(
    session: Session, now: datetime, arrivals: Sequence[Arrival]
) -> list[Message | None]:
    """The same for several whole texts at once, in their order, which costs less for each.

    When one of them makes it fail, nothing of the transaction may be kept: take each by itself,
    so that only the text that we failed on is set aside.
    """
    with rows_may_wait(session):
        return _receive_whole(session, now, arrivals, together=True)


def parts_waited(session: Session, now: datetime, part_id: int) -> None:
    """The rest of a long text has not come in time: read what has."""
    carrier = session.get_one(InboundPart, part_id).carrier
    joined = join_what_came(session, part_id)
    if joined is not None:
        _receive_joined(session, now, carrier, joined)


def _receive_joined(
    session: Session, now: datetime, carrier: str, joined: Joined
) -> Message | None:
    message = _receive_whole(session, now, [Arrival(carrier, joined.text)])[0]
    if message is None:
        return None
    for part in joined.parts:
        part.message_id = message.id
        session.add(part)
    if not joined.whole and message.client_id is not None:
        client = session.get_one(Client, message.client_id)
        _tell(session, now, client, message, "unread", "A part of this long text never came.")
    return message


def _tell(
    session: Session,
    now: datetime,
    client: Client,
    message: Message,
    kind: str,
    what: str,
    urgency: str | None = None,
) -> None:
    practice = session.get_one(Practice, client.practice_id)
    raise_alert(session, now, practice, client, Raised(kind, what, urgency), message)


def _receive_whole(
    session: Session, now: datetime, arrivals: Sequence[Arrival], *, together: bool = False
) -> list[Message | None]:
    addressed = addressed_to(session, arrivals)
    stored = _store(session, now, addressed)
    senders = _senders(session, [message for message in stored if message is not None])
    heard = HeardLately(session, now, [client.id for client in senders.values()])
    quoted = any(message is not None and _may_quote(message) for message in stored)
    dossiers = _Dossiers(session, now, list(senders.values()) if together else [], quoted=quoted)
    for message, each in zip(stored, addressed, strict=True):
        if message is None:
            continue
        client = senders.get((message.practice_id, message.from_phone))
        if client is None:
            _from_other_phone(session, now, message)
            dossiers.forget()
            continue
        if _answers_a_page(session, now, message, client):
            dossiers.forget()
            continue
        message.client_id = client.id
        if _same_words_again(session, message, heard.within_a_minute(client.id)):
            message.state = "repeat"
            continue
        heard.note(message)
        if not each.sure:
            _keep_and_tell(session, now, client, message, WHOSE)
            continue
        lately = heard.lately(client.id)
        if together:
            understand(session, now, client, message, dossiers.of(client, message), lately)
        else:
            _act_on(session, now, client, message, lately)
        if each.arrival.text.pictures:
            _tell(session, now, client, message, "request", "The client sent a picture.")
        if is_long(message.body):
            _tell(session, now, client, message, "unread", TOO_LONG, "today")
    return [message for message, each in zip(stored, addressed, strict=True) if each.first]


class _Dossiers:
    """The dossiers of several texts' senders, loaded at once; good until something else is stored.

    A second text of the same client finds what the first one led to.
    """

    def __init__(
        self, session: Session, now: datetime, clients: Sequence[Client], *, quoted: bool
    ) -> None:
        self._session, self._now = session, now
        self._loaded = dict(load_many(session, now, clients, quoted=quoted))
        # Held, so that the session goes on knowing them.
        ids = [client.id for client in clients]
        placements = select(Placement).where(col(Placement.client_id).in_(ids))
        self._held = session.exec(placements).all() if ids else []

    def forget(self) -> None:
        self._loaded = {}

    def of(self, client: Client, message: Message) -> Dossier:
        """This client's as it is now, with what their phone may quote in this text."""
        loaded = self._loaded.pop(client.id, None)
        if loaded is None:
            return _dossier(self._session, self._now, client, message)
        return loaded if _may_quote(message) else replace(loaded, our_texts=())


def _may_quote(message: Message) -> bool:
    return len(message.body) >= SHORTEST_QUOTE


def _dossier(session: Session, now: datetime, client: Client, message: Message) -> Dossier:
    return load_many(session, now, [client], quoted=_may_quote(message))[client.id]


def _act_on(
    session: Session, now: datetime, client: Client, message: Message, lately: Lately | None
) -> None:
    try:
        with session.begin_nested():
            dossier = _dossier(session, now, client, message)
            understand(session, now, client, message, dossier, lately)
    except Exception as problem:  # what came in must be kept whatever fails
        if is_passing(problem):
            raise
        _set_aside(session, now, client, message, problem)


def _store(session: Session, now: datetime, addressed: Sequence[Addressed]) -> list[Message | None]:
    """Each text's row; None for one that is stored already, also by an earlier one of these."""
    rows = [_values(now, each.practice, each.arrival) for each in addressed]
    plain = [row for row in rows if "pictures" not in row]
    fresh: dict[tuple[str, str], Message] = {}
    for some in (plain, *([row] for row in rows if "pictures" in row)):
        if some:
            for message in insert_all_once(session, Message, UNIQUE, some):
                fresh[message.carrier, message.carrier_id or ""] = message
    arrivals = [each.arrival for each in addressed]
    return [fresh.pop((each.carrier, each.text.carrier_id), None) for each in arrivals]


def _values(now: datetime, practice: Practice, arrival: Arrival) -> dict[str, Any]:
    inbound = arrival.text
    values: dict[str, Any] = {
        "practice_id": practice.id,
        "direction": "in",
        "kind": "reply",
        "body": inbound.body,
        "from_phone": same_phone(inbound.from_phone, practice.country),
        "to_phone": same_phone(inbound.to_phone or practice.phone, practice.country),
        "carrier": arrival.carrier,
        "carrier_id": inbound.carrier_id,
        "state": "received",
        "rank": 2,
        "attempts": 0,
        "created_at": now,
    }
    if inbound.pictures:
        values["pictures"] = list(inbound.pictures)
    return values


def _senders(session: Session, messages: Sequence[Message]) -> dict[tuple[int, str], Client]:
    """Who wrote, by practice and phone, locked: a client's texts are dealt with in turn.

    Locked in the order of their ids, so that two processes with the same clients do not wait for
    each other.
    """
    found: dict[tuple[int, str], Client] = {}
    for practice_id in sorted({message.practice_id for message in messages}):
        phones = {each.from_phone for each in messages if each.practice_id == practice_id}
        rows = select(Client.id).where(
            Client.practice_id == practice_id, col(Client.phone).in_(sorted(phones))
        )
        locked = rows.order_by(col(Client.id)).with_for_update(key_share=True)
        for each in salvage(session, Client, session.exec(locked).all()):
            found[practice_id, each.row.phone] = each.row
    return found


def _from_other_phone(session: Session, now: datetime, message: Message) -> None:
    """A text from a phone that is no client's own: a second phone of one, or a stranger's."""
    practice = session.get_one(Practice, message.practice_id)
    if page_answered(session, now, practice, message):
        return
    phone = strangers.second_phone(session, practice.id, message.from_phone)
    if phone is None:
        strangers.from_stranger(session, now, practice, message)
    elif not new_phone.answered(session, now, phone, message):
        strangers.from_second_phone(session, now, practice, phone, message)


def _answers_a_page(session: Session, now: datetime, message: Message, client: Client) -> bool:
    """Whether a client who is paged about somebody else answers that page, with its code."""
    practice = session.get_one(Practice, message.practice_id)
    return page_answered(session, now, practice, message, client)


def _same_words_again(session: Session, message: Message, lately: Sequence[Message]) -> bool:
    """The same words within a minute under another id: a gateway's repeat, not a second report.

    Unless a safety question went out in between: then "yes" twice is two answers.
    """
    # Compared here, for the database may hold the words sealed.
    twin = next((each for each in lately if each.body == message.body), None)
    return twin is not None and not questions.safety_asked_since(session, twin)


def _set_aside(
    session: Session, now: datetime, client: Client, message: Message, problem: Exception
) -> None:
    """Keep a text that we failed on, tell the trainer, and set when it is tried again.

    What it tells of a fall, of pain or of STOP is heeded though nothing else could be done.
    """
    log.error("message %s could not be acted on: %s", message.id, named(problem))
    message.problem = named(problem)
    did = "The text is kept, but the service could not act on it. Please read it yourself."
    _keep_and_tell(session, now, client, message, did)
    if message.state == "unprocessed":
        set_due(session, "reread", message.id, now + READ_AGAIN_AFTER)


def _keep_and_tell(
    session: Session, now: datetime, client: Client, message: Message, did: str
) -> None:
    """Keep a text without acting on it, but for what it tells of harm or STOP; tell the trainer."""
    message.state = "unprocessed"
    session.add(message)
    practice = salvage_one(session, Practice, client.practice_id).row
    raised = Raised("unread", did, "urgent")
    heed: list[Callable[[], object]] = [
        lambda: _heed(session, now, practice, client, message),
        lambda: raise_alert(session, now, practice, client, raised, message),
    ]
    for act in heed:
        try:
            with session.begin_nested():
                act()
        except Exception as again:
            if is_passing(again):
                raise
            # Keeping the text comes before telling of it; the thread shows it as unprocessed.
            log.exception("no alert could be raised for message %s", message.id)


def _heed(
    session: Session, now: datetime, practice: Practice, client: Client, message: Message
) -> None:
    """Act on a sign of harm, or on STOP, without knowing anything of the client's practice.

    What was heeded is not acted on again later: the alert has the words.
    """
    dossier = load_bare(session, practice, client)
    context = Context(language=client.language, second_reader=practice.second_reader)
    reading = read(message.body, context)
    if reading.kind == "opt_out" or told(reading) or doubtful(reading):
        message.context, message.reading = context_to_json(context), reading_to_json(reading)
        message.reader_version = READER_VERSION
        message.state = "read"
        session.add(message)
        apply(session, now, client, dossier, on_text(dossier, reading, context, now), message)


def read_again(session: Session, now: datetime, message_id: int) -> None:
    """Act on a text that we failed on when it came, unless it is too old to be about anything."""
    message = session.get_one(Message, message_id)
    if message.state != "unprocessed" or now - message.created_at > READ_AGAIN_WITHIN:
        return
    client = session.get_one(Client, message.client_id)
    try:
        with session.begin_nested():
            message.problem = None
            dossier = _dossier(session, now, client, message)
            understand(session, now, client, message, dossier)
    except Exception as problem:
        if is_passing(problem):
            raise
        log.exception("message %s could not be acted on again", message.id)
        message.state, message.problem = "unprocessed", named(problem)
        set_due(session, "reread", message.id, now + READ_AGAIN_AFTER)


def understand(
    session: Session,
    now: datetime,
    client: Client,
    message: Message,
    dossier: Dossier,
    lately: Lately | None = None,
) -> Reading:
    """Read a stored text from a known client and act on it."""
    dossier = after_word(replace(dossier, lately=lately))
    context = context_of(dossier, now)
    reading = read(message.body, context)
    message.context = context_to_json(context)
    message.reading = reading_to_json(reading)
    message.reader_version = READER_VERSION
    message.state = "read"
    session.add(message)
    client.last_reply_at = now
    session.add(client)
    apply(session, now, client, dossier, on_text(dossier, reading, context, now), message)
    return reading
