"""What a lost connection or answer means, and that no carrier can hold us up for long."""

import gzip
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from time import monotonic

import httpx
import pytest
from benches import PATIENT, QUICK, KannelBench, WiredBench, a_text
from wire_server import Misbehaves, Says, WireServer, wire_server

from rungwise.carriers import wire as adapters
from rungwise.carriers.base import Accepted, TryLater, Unknown
from rungwise.carriers.wire import Answer, ask, http_client
from rungwise.coach.outbox.claiming import LEASE


@pytest.fixture
def wire() -> Iterator[WireServer]:
    with wire_server() as server:
        yield server


def subclasses(kind: type[Exception]) -> Iterator[type[Exception]]:
    for child in kind.__subclasses__():
        yield child
        yield from subclasses(child)


# Whether the carrier may have the text when the HTTP library raises this.
MAY_HAVE_IT = {
    httpx.ConnectError: False,
    httpx.ConnectTimeout: False,
    httpx.PoolTimeout: False,
    httpx.ProxyError: False,
    httpx.UnsupportedProtocol: False,
    httpx.TimeoutException: True,
    httpx.ReadTimeout: True,
    httpx.WriteTimeout: True,
    httpx.NetworkError: True,
    httpx.ReadError: True,
    httpx.WriteError: True,
    httpx.CloseError: True,
    httpx.ProtocolError: True,
    httpx.LocalProtocolError: True,
    httpx.RemoteProtocolError: True,
}


def test_every_error_of_the_http_library_has_its_meaning() -> None:
    assert set(subclasses(httpx.TransportError)) == set(MAY_HAVE_IT)
    for kind, may_have_it in MAY_HAVE_IT.items():

        def fail(request: httpx.Request, kind: type[Exception] = kind) -> httpx.Response:
            raise kind("it broke")

        with httpx.Client(transport=httpx.MockTransport(fail)) as http:
            outcome = ask(http, http.build_request("POST", "http://127.0.0.1:9"))
        assert type(outcome) is (Unknown if may_have_it else TryLater), kind


def test_an_answer_that_breaks_off_while_it_is_read_is_unknown() -> None:
    def begin() -> Iterator[bytes]:
        yield b"0: Acc"
        raise httpx.ReadError("reset")

    answer = httpx.MockTransport(lambda _: httpx.Response(202, content=begin()))
    with httpx.Client(transport=answer) as http:
        outcome = ask(http, http.build_request("POST", "http://127.0.0.1:9"))
    assert isinstance(outcome, Unknown)


def test_an_answer_that_trickles_is_not_waited_for(wire: WireServer) -> None:
    wire.says = Misbehaves("trickles")
    started = monotonic()
    with httpx.Client(trust_env=False) as http:
        outcome = ask(http, http.build_request("POST", wire.url), within_s=0.3)
    assert isinstance(outcome, Unknown)
    assert monotonic() - started < 3


def test_a_packed_answer_is_not_unpacked() -> None:
    bomb = gzip.compress(b"x" * 5_000_000)
    answer = httpx.Response(202, content=bomb, headers={"content-encoding": "gzip"})
    with httpx.Client(transport=httpx.MockTransport(lambda _: answer)) as http:
        outcome = ask(http, http.build_request("POST", "http://127.0.0.1:9"))
    assert isinstance(outcome, Unknown)


def test_the_largest_answer_is_read_whole(wire: WireServer) -> None:
    for octets, kind in ((adapters.LARGEST_ANSWER, Answer), (adapters.LARGEST_ANSWER + 1, Unknown)):
        wire.says = Says(202, "x" * octets)
        with httpx.Client(trust_env=False) as http:
            assert type(ask(http, http.build_request("POST", wire.url))) is kind


def test_no_send_outlasts_the_lease_of_its_text() -> None:
    # Waiting for a free connection, connecting, writing, and the answer read until the last
    # moment. Were it longer, the text could be taken up again while it is still being sent.
    with http_client() as http:
        limits = http.timeout
    parts = (limits.pool, limits.connect, limits.write, limits.read)
    assert all(part is not None and part > 0 for part in parts)
    longest = sum(part or 0 for part in parts) + (limits.read or 0)
    assert longest + 10 < LEASE.total_seconds()
    assert LEASE.total_seconds() / 2 > adapters.ANSWER_S


def test_redirects_are_not_followed(wire: WireServer) -> None:
    moved = httpx.Response(307, headers={"location": wire.url})
    with http_client() as http, httpx.Client(transport=httpx.MockTransport(lambda _: moved)) as at:
        assert http.follow_redirects is False
        outcome = ask(at, at.build_request("POST", "http://127.0.0.1:9"))
    assert isinstance(outcome, Answer)
    assert wire.asked == []


@pytest.mark.parametrize("bench", ["kannel"], indirect=True)
def test_many_threads_send_at_once_over_one_client(bench: WiredBench) -> None:
    assert isinstance(bench, KannelBench)
    bench.wire.says = bench.accepts[0]
    with http_client(through_proxy=False) as http, ThreadPoolExecutor(24) as threads:
        carrier = bench.elsewhere(bench.wire.url, http)
        texts = [a_text(f"text {number}", id=number) for number in range(300)]
        outcomes = list(threads.map(carrier.send, texts))
    assert outcomes == [Accepted(f"k-{number}") for number in range(300)]
    assert sorted(seen.body for seen in bench.seen()) == sorted(text.body for text in texts)


@pytest.mark.parametrize("bench", ["kannel"], indirect=True)
def test_an_outage_under_load_leaves_nothing_behind(bench: WiredBench) -> None:
    with http_client(through_proxy=False) as http, ThreadPoolExecutor(24) as threads:
        http.timeout = QUICK
        carrier = bench.elsewhere(bench.wire.url, http)
        for trouble in (Misbehaves("hangs"), Misbehaves("drops")):
            bench.wire.says = trouble
            outcomes = list(threads.map(lambda n: carrier.send(a_text(id=n)), range(48)))
            assert {type(outcome) for outcome in outcomes} == {Unknown}
        http.timeout = PATIENT
        bench.wire.says = bench.accepts[0]
        outcomes = list(threads.map(lambda n: carrier.send(a_text(id=n)), range(48)))
        assert {type(outcome) for outcome in outcomes} == {Accepted}


@pytest.mark.parametrize("bench", ["kannel", "cloud"], indirect=True)
def test_each_text_has_a_connection_of_its_own(bench: WiredBench) -> None:
    bench.wire.says = bench.accepts[0]
    with http_client(through_proxy=False) as http:
        carrier = bench.elsewhere(bench.wire.url, http)
        for _ in range(3):
            assert isinstance(carrier.send(a_text()), Accepted)
    assert len(bench.wire.connections) == 3
    assert {asked.headers["connection"] for asked in bench.wire.asked} == {"close"}
