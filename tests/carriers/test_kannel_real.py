"""The real Kannel between our service and an operator: what leaves, what comes, what is reported.

The service's side is a real server with the callback route over SQLite; the operator's side is a
message centre that speaks SMPP. Kannel runs with the configuration that we ship.
"""

import socket
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path

import pytest
import uvicorn
from benches import CLIENT, PASSWORD, PRACTICE, TOKEN
from carrier_site import START, fill
from fastapi import FastAPI, Request, Response
from kannel_process import Gateway, kannel
from smpp34 import ESME_RINVDSTADR, ESME_RTHROTTLED
from smpp_operator import UCS2, Operator, Submitted, coding_of, in_parts, octets_of
from sqlmodel import col, select
from starlette.middleware.base import RequestResponseEndpoint
from waiting import PATIENCE_S, until

from rungwise.carriers.base import (
    Accepted,
    Callback,
    Heard,
    InboundText,
    OutboundText,
    Outcome,
    Part,
    Receipt,
    Refused,
    Unknown,
)
from rungwise.carriers.kannel import Kannel, KannelAccess
from rungwise.carriers.wire import http_client
from rungwise.clock import HandClock
from rungwise.coach.outbox.texts import Text, queue_to_client
from rungwise.parts import Parts
from rungwise.settings import Settings
from rungwise.store import Store
from rungwise.store.tables import Client, Message, Practice
from rungwise.ticks.jobs import due_tick, send_tick
from rungwise.web.callbacks import routes
from rungwise.wording.segments import GSM7_CHARACTERS, GSM7_EXTENSION, segments

pytestmark = pytest.mark.kannel

GSM7 = "".join(sorted(GSM7_CHARACTERS | GSM7_EXTENSION))
UNICODE = "Left 20 s ɛ 👍🏽, sí — “done” ٢٠"


@dataclass
class Listening:
    """The carrier as it is. What it heard is kept for the tests to look at; an answer to a send
    is held back until what `delay` does is done, or is lost."""

    carrier: Kannel
    heard: list[InboundText | Receipt] = field(default_factory=list)
    name: str = "kannel"
    delay: Callable[[OutboundText], object] | None = None
    loses_answers: bool = False

    @property
    def replies(self) -> list[InboundText]:
        return [what for what in self.heard if isinstance(what, InboundText)]

    def send(self, text: OutboundText) -> Outcome:
        outcome = self.carrier.send(text)
        if self.delay is not None:
            self.delay(text)
        return Unknown("The answer was lost.") if self.loses_answers else outcome

    def hear(self, callback: Callback) -> Heard:
        heard = self.carrier.hear(callback)
        self.heard += [*heard.texts, *heard.receipts]
        return heard


@dataclass
class Rig:
    """Our server, Kannel and the operator, for all tests of a session."""

    app: FastAPI
    gateway: Gateway
    carrier: Listening
    away: bool = False  # whether our server answers 503 to everything
    tests: int = 0


@contextmanager
def serving(app: FastAPI, place: socket.socket) -> Iterator[None]:
    config = uvicorn.Config(app, log_level="warning", access_log=False, lifespan="off")
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [place]})
    thread.start()
    try:
        until(lambda: server.started)
        yield
    finally:
        server.should_exit = True
        server.force_exit = True
        thread.join(PATIENCE_S)


@pytest.fixture(scope="session")
def rig(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Rig]:
    app = FastAPI()
    app.include_router(routes.router)
    words = {
        "ADMIN_PASSWORD": "only here",
        "OPERATOR_USERNAME": "practice",
        "OPERATOR_PASSWORD": "pw",
        "KANNEL_USERNAME": "rungwise",
        "KANNEL_PASSWORD": PASSWORD,
        "KANNEL_TOKEN": TOKEN,
    }
    place = socket.socket()
    place.bind(("127.0.0.1", 0))
    port = place.getsockname()[1]
    folder = tmp_path_factory.mktemp("kannel")
    with place, kannel(words, port, folder) as gateway, http_client(through_proxy=False) as http:
        access = KannelAccess(gateway.url, "rungwise", PASSWORD, TOKEN, f"http://127.0.0.1:{port}")
        rig = Rig(app, gateway, Listening(Kannel(access, http)))

        @app.middleware("http")
        async def maybe_away(request: Request, proceed: RequestResponseEndpoint) -> Response:
            return Response(status_code=503) if rig.away else await proceed(request)

        with serving(app, place):
            yield rig


@dataclass
class Exchange:
    """A practice on Kannel with one client, a clock set by hand, and the operator."""

    store: Store
    clock: HandClock
    carrier: Listening
    operator: Operator
    client_id: int
    phone: str

    def texts(self) -> list[str]:
        """What the client's phone shows."""
        return self.operator.texts_to(self.phone)

    def parts(self) -> list[Submitted]:
        return self.operator.parts_to(self.phone)

    def handed_over(self, id: int) -> Submitted:
        """The part that a receipt is wanted for, once Kannel has reported it as handed over."""
        handed = Receipt(f"k-{id}", "sent", "", id)
        until(lambda: handed in self.carrier.heard)
        return next(part for part in self.parts() if part.wants_receipt)

    def send(self) -> None:
        while send_tick(self.store, {"kannel": self.carrier}, self.clock):
            pass

    def pass_time_until(self, kind: str) -> Message:
        """Move the clock on until a text of this kind waits or has left."""
        for _ in range(7 * 24 * 4):
            due_tick(self.store, self.clock)
            found = self.messages("out", kind)
            if found:
                return found[0]
            self.clock.advance(timedelta(minutes=15))
        raise AssertionError(f"no {kind} in a week")

    def queue(self, words: str) -> int:
        """Put a text to the client in the outbox and send it; gives its id."""
        with self.store.write() as session:
            client = session.get_one(Client, self.client_id)
            practice = session.get_one(Practice, client.practice_id)
            message = queue_to_client(
                session, self.clock.now(), practice, client, Text("answer", words)
            )
            assert message is not None
            id = message.id
        self.send()
        return id

    def message(self, id: int) -> Message:
        with self.store.read() as session:
            return session.get_one(Message, id)

    def messages(self, direction: str, kind: str | None = None) -> list[Message]:
        with self.store.read() as session:
            rows = select(Message).where(
                Message.direction == direction, Message.client_id == self.client_id
            )
            found = list(session.exec(rows.order_by(col(Message.id))).all())
        return [message for message in found if kind is None or message.kind == kind]

    def reply(self, words: str, **more: object) -> Message:
        """A client's text all the way to its stored row."""
        before = len(self.messages("in"))
        self.operator.reply(self.phone, PRACTICE, words, **more)  # type: ignore[arg-type]
        return until(lambda: self.messages("in")[before:])[0]


@pytest.fixture
def exchange(rig: Rig, tmp_path: Path) -> Iterator[Exchange]:
    store = Store(f"sqlite:///{tmp_path / 'exchange.sqlite3'}")
    rig.tests += 1
    # Ids and a phone of its own for each test, so that nothing late of another's can fit.
    phone = f"+1202555{100 + rig.tests:04}"
    client_id = fill(store, "kannel", ids_after=rig.tests * 1000, phone=phone)
    clock = HandClock(START)
    rig.app.state.parts = Parts(Settings(ticks=False), store, clock, {"kannel": rig.carrier})
    rig.away = False
    rig.gateway.operator.rejects.clear()
    rig.gateway.operator.may_answer.set()
    rig.carrier.heard.clear()
    rig.carrier.delay, rig.carrier.loses_answers = None, False
    exchange = Exchange(store, clock, rig.carrier, rig.gateway.operator, client_id, phone)
    exchange.send()  # the text that welcomes the client
    until(exchange.texts)
    rig.gateway.operator.parts.clear()
    yield exchange
    store.close()


# --- there and back -------------------------------------------------------------------------------


def test_a_prompt_leaves_is_answered_and_is_reported(exchange: Exchange) -> None:
    """The whole exchange of a day."""
    prompt = exchange.pass_time_until("prompt")
    exchange.send()
    part = exchange.handed_over(prompt.id)
    assert exchange.texts() == [prompt.body]
    assert (part.source, part.destination) == (PRACTICE, exchange.phone)
    assert exchange.message(prompt.id).state == "sent"
    exchange.operator.receipt(part)
    until(lambda: exchange.message(prompt.id).state == "delivered")

    reply = exchange.reply("20 20 steady")
    assert (reply.body, reply.from_phone, reply.state) == ("20 20 steady", exchange.phone, "read")
    (answer,) = until(lambda: exchange.messages("out", "answer"))
    exchange.send()
    until(lambda: len(exchange.texts()) == 2)
    assert exchange.texts()[1] == answer.body
    assert answer.answers_id == reply.id


def test_a_fall_is_answered_with_the_safety_text(exchange: Exchange) -> None:
    exchange.reply("I fell and cant get up")
    (safety,) = until(lambda: exchange.messages("out", "safety"))
    exchange.send()
    until(lambda: safety.body in exchange.texts())


@pytest.mark.parametrize("words", [GSM7, UNICODE, "20\n14", " spaces  kept ", "+1 %41 &amp; <b>"])
def test_every_character_survives_both_ways(exchange: Exchange, words: str) -> None:
    id = exchange.queue(words)
    assert exchange.handed_over(id).coding == coding_of(words)
    assert exchange.texts() == [words]
    assert (coding_of(words) == UCS2) is (segments(words).encoding == "UCS-2")
    assert exchange.reply(words).body == words


LONG = {
    "GSM-7": "Feet one behind the other, 20 seconds a side. " * 8,
    "escapes at the cut": "x" * 152 + "€" + "y" * 152 + "[" + "z" * 40,
    "UCS-2": "Los pies en línea, con la mano en la mesa. " * 5,
    "an emoji at the cut": "ɛ" * 66 + "👍" + "a" * 100,
    "the longest": "0123456789" * 153,
}


@pytest.mark.parametrize("words", LONG.values(), ids=LONG)
def test_a_long_text_leaves_in_joined_parts(exchange: Exchange, words: str) -> None:
    id = exchange.queue(words)
    (text,) = until(exchange.texts)
    assert text == words
    numbers = sorted(part.joined[1:] for part in exchange.parts() if part.joined)
    assert numbers == [(len(numbers), place) for place in range(1, len(numbers) + 1)]
    assert segments(words).count >= len(numbers) >= 2
    # Kannel asks for a receipt for the first part only; that one stands for the whole.
    exchange.operator.receipt(exchange.handed_over(id))
    until(lambda: exchange.message(id).state == "delivered")


@pytest.mark.parametrize("words", [LONG["GSM-7"], "ɛ 👍" * 60])
def test_a_long_reply_is_one_text_whatever_order_its_parts_have(
    exchange: Exchange, words: str
) -> None:
    for body, header in reversed(in_parts(words, 3)):
        exchange.operator.deliver(exchange.phone, PRACTICE, body, header, coding_of(words))
    until(lambda: exchange.messages("in"))
    assert [message.body for message in exchange.messages("in")] == [words]


@pytest.mark.parametrize("words", ["the left went well, " * 9 + "20", "ɛ 👍 " * 30])
def test_parts_that_come_long_after_each_other_are_joined_here(
    exchange: Exchange, words: str
) -> None:
    for body, header in reversed(in_parts(words, 2, reference=0x61)):
        known = len(exchange.carrier.replies)
        exchange.operator.deliver(exchange.phone, PRACTICE, body, header, coding_of(words))
        until(lambda known=known: len(exchange.carrier.replies) > known)  # Kannel waits no longer
    assert [text.part for text in exchange.carrier.replies] == [Part(0x61, 2, 2), Part(0x61, 2, 1)]
    until(lambda: exchange.messages("in"))
    assert [message.body for message in exchange.messages("in")] == [words]


@pytest.mark.parametrize("words", ["I fell in the bath, and then", "ɛ fell"])
def test_a_part_whose_others_are_lost_is_passed_on(exchange: Exchange, words: str) -> None:
    reference = 0x41 + len(words)
    header = bytes([5, 0, 3, reference, 2, 1])
    exchange.operator.deliver(exchange.phone, PRACTICE, octets_of(words), header, coding_of(words))
    (text,) = until(lambda: exchange.carrier.replies)
    assert (text.body, text.part) == (words, Part(reference, 2, 1))


# --- what goes wrong ------------------------------------------------------------------------------


@pytest.mark.parametrize("stat", ["UNDELIV", "EXPIRED", "REJECTD"])
def test_a_text_that_the_phone_never_got_has_failed(exchange: Exchange, stat: str) -> None:
    id = exchange.queue("20 seconds")
    part = exchange.handed_over(id)
    exchange.operator.receipt(part, stat)
    until(lambda: exchange.message(id).state == "failed")
    assert part.id in (exchange.message(id).problem or "")


def test_a_text_that_the_operator_refuses_has_failed(exchange: Exchange) -> None:
    exchange.operator.may_answer.clear()
    exchange.operator.rejects.append(ESME_RINVDSTADR)
    id = exchange.queue("20 seconds")
    assert exchange.message(id).state == "sent"  # Kannel has it
    exchange.operator.may_answer.set()
    until(lambda: exchange.message(id).state == "failed")
    assert exchange.parts() == []


def test_a_busy_operator_gets_the_text_once_it_can(exchange: Exchange) -> None:
    exchange.operator.rejects.append(ESME_RTHROTTLED)
    id = exchange.queue("20 seconds")
    until(exchange.texts)
    exchange.operator.receipt(exchange.handed_over(id))
    until(lambda: exchange.message(id).state == "delivered")
    assert exchange.texts() == ["20 seconds"]


def test_a_repeated_report_changes_nothing(exchange: Exchange) -> None:
    id = exchange.queue("20 seconds")
    part = exchange.handed_over(id)
    for _ in range(2):
        exchange.operator.receipt(part)
    until(lambda: exchange.message(id).state == "delivered")
    settled = exchange.message(id).settled_at
    exchange.operator.receipt(part, "UNDELIV")
    exchange.reply("20 14")  # comes after it
    assert exchange.message(id).state == "delivered"
    assert exchange.message(id).settled_at == settled


@pytest.mark.parametrize(("stat", "state"), [("DELIVRD", "delivered"), ("UNDELIV", "failed")])
def test_a_report_may_overtake_the_answer_to_our_send(
    exchange: Exchange, stat: str, state: str
) -> None:
    def report_first(text: OutboundText) -> None:
        exchange.operator.receipt(exchange.handed_over(text.id), stat)
        until(lambda: exchange.message(text.id).state == state)

    exchange.carrier.delay = report_first
    id = exchange.queue("20 seconds")
    assert exchange.message(id).state == state
    assert exchange.message(id).carrier_id == f"k-{id}"


def test_a_lost_answer_is_settled_by_the_report(exchange: Exchange) -> None:
    prompt = exchange.pass_time_until("prompt")
    exchange.carrier.loses_answers = True
    exchange.send()
    part = exchange.handed_over(prompt.id)
    exchange.operator.receipt(part)
    until(lambda: exchange.message(prompt.id).state == "delivered")
    exchange.send()
    assert exchange.texts() == [prompt.body]  # once


def test_replies_wait_while_the_service_is_away(rig: Rig, exchange: Exchange) -> None:
    rig.away = True
    exchange.operator.reply(exchange.phone, PRACTICE, "20 14 while you were away")
    with pytest.raises(AssertionError):
        until(lambda: exchange.messages("in"), within_s=1.5)
    rig.away = False
    (reply,) = until(lambda: exchange.messages("in"))
    assert reply.body == "20 14 while you were away"
    assert exchange.parts() == [], "Kannel must not answer the client by itself"


@pytest.mark.parametrize("left_out", ["+", "+1"])
def test_a_number_that_is_not_whole_still_finds_the_client(
    exchange: Exchange, left_out: str
) -> None:
    exchange.operator.reply(exchange.phone.removeprefix(left_out), PRACTICE, "20 14", ton=0)
    (reply,) = until(lambda: exchange.messages("in"))
    assert reply.from_phone == exchange.phone


def test_a_wrong_password_is_refused(rig: Rig) -> None:
    with http_client(through_proxy=False) as http:
        access = KannelAccess(rig.gateway.url, "rungwise", "wrong", TOKEN, "http://127.0.0.1:9")
        outcome = Kannel(access, http).send(OutboundText(1, PRACTICE, CLIENT, "20 seconds"))
    assert isinstance(outcome, Refused)
    assert "RUNGWISE_KANNEL_PASSWORD" in outcome.reason


def test_many_texts_leave_at_once(exchange: Exchange) -> None:
    texts = [OutboundText(500_000 + n, PRACTICE, exchange.phone, f"text {n}") for n in range(60)]
    with ThreadPoolExecutor(12) as threads:
        outcomes = list(threads.map(exchange.carrier.send, texts))
    assert all(isinstance(outcome, Accepted) for outcome in outcomes)
    until(lambda: len(exchange.texts()) == 60)
    assert sorted(exchange.texts()) == sorted(text.body for text in texts)


def test_no_log_of_kannels_holds_words_or_secrets(rig: Rig, exchange: Exchange) -> None:
    exchange.queue("Confidential words")
    exchange.reply("Confidential answer")
    logs = [path for path in rig.gateway.folder.iterdir() if path.suffix in (".log", ".out")]
    assert len(logs) == 4
    for path in logs:
        logged = path.read_text(errors="replace")
        for private in ("Confidential", PASSWORD, TOKEN):
            assert private not in logged, path
