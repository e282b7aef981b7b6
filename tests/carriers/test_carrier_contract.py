"""What every carrier must do, run over each of them: see benches.py for how to add one."""

import logging
import socket
from dataclasses import replace
from time import monotonic
from urllib.parse import unquote

import httpx
import pytest
from benches import (
    BENCHES,
    CLIENT,
    PRACTICE,
    WIRED,
    Bench,
    Seen,
    WiredBench,
    a_text,
    offline,
)
from carrier_site import Site
from hypothesis import given, settings
from hypothesis import strategies as st
from wire_server import Misbehaves, Says

from rungwise.carriers.base import (
    Accepted,
    Callback,
    Forged,
    InboundText,
    OutboundText,
    Refused,
    TryLater,
    Unknown,
)

UNICODE = "ɛ 👍🏽 sí — “twenty”\nnext line, €{}[]~^|\\ &=+%41"
ODD_TEXTS = [UNICODE, "@£$ + % & = ?", "  14 20  ", "٢٠ ثانية", "a\r\nb\tc", "0" * 1500]


def is_heard(bench: Bench, callback: Callback) -> bool:
    try:
        bench.carrier.hear(callback)
    except Forged:
        return False
    return True


# --- every carrier --------------------------------------------------------------------------------


def test_an_accepted_text_has_an_id_of_its_own(bench: Bench) -> None:
    if isinstance(bench, WiredBench):
        bench.wire.says = bench.accepts[0]
    outcome = bench.carrier.send(a_text())
    assert isinstance(outcome, Accepted)
    assert outcome.carrier_id
    assert outcome.delivered is not isinstance(bench, WiredBench)


@pytest.mark.parametrize("body", ODD_TEXTS)
def test_a_reply_arrives_as_it_was_written(bench: Bench, body: str) -> None:
    heard = bench.carrier.hear(bench.inbound(body))
    assert heard.texts == (InboundText("in-1", CLIENT, PRACTICE, body),)
    assert heard.receipts == ()
    assert heard.status == 200


def test_a_repeated_callback_has_the_same_id(bench: Bench) -> None:
    first, again = (bench.carrier.hear(bench.inbound("20 14")) for _ in range(2))
    assert first == again
    other = bench.carrier.hear(bench.inbound("20 14", id="in-2"))
    assert first.texts[0].carrier_id != other.texts[0].carrier_id


def test_what_is_not_signed_is_forged(bench: Bench) -> None:
    genuine = bench.inbound("I fell")
    assert bench.carrier.hear(genuine).texts
    forgeries = bench.forged(genuine)
    assert len(forgeries) >= 3
    assert [what for what, callback in forgeries.items() if is_heard(bench, callback)] == []


@pytest.mark.parametrize("body", ["20\x0014", "\x00"])
def test_what_a_database_cannot_hold_is_replaced(bench: Bench, body: str) -> None:
    heard = bench.carrier.hear(bench.inbound(body, from_phone="+120255\x000103"))
    assert heard.texts[0].body == body.replace("\0", "\ufffd")
    assert "\0" not in heard.texts[0].from_phone


def test_ids_and_phones_fit_a_unique_key(bench: Bench) -> None:
    heard = bench.carrier.hear(bench.inbound("20", id="i" * 5000, from_phone="+" + "1" * 5000))
    assert len(heard.texts[0].carrier_id) <= 128
    assert len(heard.texts[0].from_phone) <= 128


# --- every carrier, through the route ------------------------------------------------------------


def test_a_reply_is_stored_once_however_often_it_comes(bench: Bench, site: Site) -> None:
    callback = bench.inbound("no idea what this says")
    for _ in range(3):
        answer = site.call(callback)
        assert answer.status_code == 200
    stored = site.stored()
    assert [message.body for message in stored] == ["no idea what this says"]
    assert (stored[0].carrier, stored[0].from_phone) == (bench.carrier.name, CLIENT)
    assert stored[0].client_id is not None


def test_the_answer_is_what_the_carrier_expects(bench: Bench, site: Site) -> None:
    answer = site.call(bench.inbound("20 14"))
    expected = {
        "handset": ("application/json", '{"id": "in-1", "stored": true}'),
        "kannel": ("text/plain", ""),
        "cloud": ("text/xml", '<?xml version="1.0" encoding="UTF-8"?><Response></Response>'),
    }
    kind, said = expected[bench.carrier.name]
    assert answer.headers["content-type"].partition(";")[0] == kind
    assert answer.text == said


def test_forgeries_are_refused_and_logged_without_content(
    bench: Bench, site: Site, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.DEBUG)
    forgeries = bench.forged(bench.inbound("I fell in the bath"))
    for callback in forgeries.values():
        assert site.call(callback).status_code == 403
    assert site.stored() == []
    assert len([r for r in caplog.records if "refused" in r.getMessage()]) == len(forgeries)
    ours = [r.getMessage() for r in caplog.records if r.name.startswith("rungwise")]
    assert "fell" not in str(ours)
    assert CLIENT[1:] not in str(ours)


@pytest.mark.parametrize("octets", [64 * 1024 + 1, 5_000_000])
def test_what_is_larger_than_any_text_is_refused(bench: Bench, site: Site, octets: int) -> None:
    callback = bench.inbound("x")
    chunks = (b"x" * min(65_536, octets - start) for start in range(0, octets, 65_536))
    for content in (b"x" * octets, chunks):  # with its length said, and in chunks
        assert site.call(callback, content=content).status_code == 413
    assert site.stored() == []


def test_nobody_calls_a_carrier_that_is_not_set_up(bench: Bench, site: Site) -> None:
    callback = bench.inbound("20 14")
    assert site.call(callback, url="/in/nobody").status_code == 404
    assert site.stored() == []


# --- every carrier with a wire -------------------------------------------------------------------


def test_the_text_goes_out_exactly(wired: WiredBench) -> None:
    wired.wire.says = wired.accepts[0]
    for body in ODD_TEXTS:
        assert isinstance(wired.carrier.send(a_text(body)), Accepted)
    assert wired.seen() == [Seen(PRACTICE, CLIENT, body) for body in ODD_TEXTS]


OUTCOMES = {"accepts": Accepted, "later": TryLater, "refuses": Refused, "unknown": Unknown}


@pytest.mark.parametrize("kind", OUTCOMES)
def test_each_answer_means_what_the_carrier_says(wired: WiredBench, kind: str) -> None:
    answers: tuple[Says, ...] = getattr(wired, kind)
    assert answers
    for says in answers:
        wired.wire.says = says
        outcome = wired.carrier.send(a_text())
        assert type(outcome) is OUTCOMES[kind], says
        if not isinstance(outcome, Accepted):
            assert outcome.reason[0].isupper()
            assert len(outcome.reason) < 300
            assert "\n" not in outcome.reason
    assert len(wired.wire.asked) == len(answers), "each text is asked for once, never again"


def test_a_refused_connection_is_tried_later(wired: WiredBench) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))  # bound, and nobody listens
        carrier = wired.elsewhere(f"http://127.0.0.1:{taken.getsockname()[1]}")
        assert isinstance(carrier.send(a_text()), TryLater)


def test_a_connection_that_is_not_answered_is_tried_later(wired: WiredBench) -> None:
    with socket.socket() as full, socket.socket() as waiting:
        full.bind(("127.0.0.1", 0))
        full.listen(0)
        waiting.connect(full.getsockname())  # takes the only place in the queue
        carrier = wired.elsewhere("http://{}:{}".format(*full.getsockname()))
        others = []
        for _ in range(3):  # a few more, as systems round the queue up
            other = socket.socket()
            other.setblocking(False)
            other.connect_ex(full.getsockname())
            others.append(other)
        try:
            assert isinstance(carrier.send(a_text()), TryLater)
        finally:
            for other in others:
                other.close()


@pytest.mark.parametrize("how", ["hangs", "drops", "breaks off", "floods"])
def test_a_lost_answer_is_unknown(wired: WiredBench, how: str) -> None:
    wired.wire.says = Misbehaves(how)
    started = monotonic()
    assert isinstance(wired.carrier.send(a_text()), Unknown)
    assert monotonic() - started < 5
    assert len(wired.seen()) == 1


def test_the_carrier_works_again_after_an_outage(wired: WiredBench) -> None:
    for says in (Misbehaves("drops"), Misbehaves("hangs"), *wired.later):
        wired.wire.says = says
        assert not isinstance(wired.carrier.send(a_text()), Accepted)
    wired.wire.says = wired.accepts[0]
    assert isinstance(wired.carrier.send(a_text()), Accepted)


UNSENDABLE = [
    a_text(""),
    a_text(" \n"),
    a_text("x" * 1531),
    a_text("ɛ" * 671),
    a_text(to_phone=""),
    a_text(to_phone="12025550103"),
    a_text(to_phone="+12025550103 +12025550104"),
    a_text(to_phone="+1202\n"),
    a_text(to_phone="+1" + "2" * 15),
    a_text(from_phone=""),
    a_text(from_phone="+12025550100\r\nX-Kannel-To: +12025550104"),
]


@pytest.mark.parametrize("text", UNSENDABLE, ids=repr)
def test_what_cannot_be_sent_whole_is_never_asked_for(
    wired: WiredBench, text: OutboundText
) -> None:
    wired.wire.says = wired.accepts[0]
    assert isinstance(wired.carrier.send(text), Refused)
    assert wired.wire.asked == []


def test_reports_say_what_became_of_a_text(wired: WiredBench) -> None:
    wired.wire.says = wired.accepts[0]
    text = a_text(id=4711)
    outcome = wired.carrier.send(text)
    assert isinstance(outcome, Accepted)
    assert set(wired.reports.values()) == {"sent", "delivered", "failed"}
    for says, state in wired.reports.items():
        heard = wired.carrier.hear(wired.report(text, outcome.carrier_id, says))
        assert heard.texts == ()
        (receipt,) = heard.receipts
        assert (receipt.carrier_id, receipt.state) == (outcome.carrier_id, state)
        assert bool(receipt.detail) is (state == "failed")


def test_a_report_that_overtakes_the_answer_names_our_own_text(wired: WiredBench) -> None:
    # The send's answer, and with it the carrier's id, is not read yet, or was lost.
    text = a_text(id=4712)
    says = next(says for says, state in wired.reports.items() if state == "delivered")
    heard = wired.carrier.hear(wired.report(text, "SM-not-known-yet", says))
    assert heard.receipts[0].message_id == 4712
    assert heard.receipts[0].state == "delivered"


def test_the_report_is_asked_for_at_our_address(wired: WiredBench) -> None:
    wired.wire.says = wired.accepts[0]
    wired.carrier.send(a_text(id=4713))
    asked = wired.wire.asked[0]
    everything = str(asked.headers) + unquote(asked.body.decode())
    assert "4713" in everything
    assert f"/in/{wired.carrier.name}" in everything


def test_a_forged_report_is_refused(wired: WiredBench) -> None:
    report = wired.report(a_text(), "SM0001", next(iter(wired.reports)))
    assert wired.carrier.hear(report).receipts
    forgeries = wired.forged(report)
    assert [what for what, callback in forgeries.items() if is_heard(wired, callback)] == []


def test_a_report_that_says_nothing_we_know_changes_nothing(wired: WiredBench) -> None:
    for says in ("", "99", "partially_delivered", "-1", "9" * 40, "١"):
        heard = wired.carrier.hear(wired.report(a_text(), "SM0001", says))
        assert heard.receipts == ()
        assert heard.texts == ()


def test_nothing_private_is_logged(wired: WiredBench, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.DEBUG)
    for says in (*wired.accepts, *wired.refuses, *wired.unknown, Misbehaves("drops")):
        wired.wire.says = says
        wired.carrier.send(a_text("Confidential words"))
    wired.carrier.hear(wired.inbound("Confidential answer"))
    logged = " ".join(record.getMessage() for record in caplog.records)
    assert logged  # the HTTP library does log
    for private in ("Confidential", "12025550", "pass%20", "pass &", "a-token", "secret of"):
        assert private not in logged


CHARACTERS = st.characters(exclude_categories=["Cs"], exclude_characters="\0")


@pytest.mark.parametrize("name", WIRED)
@settings(max_examples=60)
@given(body=st.text(CHARACTERS, min_size=1, max_size=300).filter(str.strip))
def test_any_text_survives_both_directions(name: str, body: str) -> None:
    sent: list[httpx.Request] = []

    def take(request: httpx.Request) -> httpx.Response:
        sent.append(request)
        return httpx.Response(202, text="0: Accepted for delivery")

    bench = offline(name, take)
    bench.carrier.send(a_text(body))
    heard = bench.carrier.hear(bench.inbound(body))
    assert heard.texts[0].body == body
    (request,) = sent
    raw = request.content.decode()
    assert (raw if name == "kannel" else dict(httpx.QueryParams(raw))["Body"]) == body


@pytest.mark.parametrize("name", BENCHES)
@settings(max_examples=60)
@given(body=st.binary(max_size=200), query=st.text(max_size=60))
def test_no_garbage_breaks_hearing(name: str, body: bytes, query: str) -> None:
    """Whatever comes is heard or refused: signed or not, of any type, with any fields."""
    bench = offline(name)
    genuine = bench.inbound("x")
    headers = {**genuine.headers, "content-type": "text/plain; charset=" + query}
    for callback in (
        replace(genuine, headers=headers, body=body),
        replace(genuine, url=f"{genuine.url}&{query}", headers=headers),
        replace(genuine, method="GET", url=f"{genuine.url}&{query}", body=b""),
    ):
        try:
            heard = bench.carrier.hear(callback)
        except Forged:
            continue
        for text in heard.texts:
            text.body.encode()  # no lone surrogates
            assert "\0" not in text.body
