"""Who may be dealt with while others are: nobody's text before an earlier one of theirs."""

import asyncio
import threading
from types import SimpleNamespace

import pytest

from service.carriers.base import Heard, InboundText, Receipt
from service.web import arriving
from service.web.arriving import Arriving, Call

PRACTICE = "+12025550100"


def text_from(phone: str, body: str) -> Call:
    return Call("handset", Heard(texts=(InboundText(body, phone, PRACTICE, body),)))


def receipts_of(*carrier_ids: str) -> Call:
    return Call(
        "handset", Heard(receipts=tuple(Receipt(each, "delivered") for each in carrier_ids))
    )


class Slow:
    """Stands in for storing: notes each handful, and the first one takes until it is let go."""

    def __init__(self) -> None:
        self.handfuls: list[list[Call]] = []
        self.begun = threading.Event()
        self.let_go = threading.Event()

    def store(self, _parts: object, calls: list[Call]) -> list[list[int]]:
        self.handfuls.append(list(calls))
        if len(self.handfuls) == 1:
            self.begun.set()
            assert self.let_go.wait(10)
        return [[] for _ in calls]


@pytest.fixture
def slow(monkeypatch):
    slow = Slow()
    monkeypatch.setattr(arriving, "store_calls", slow.store)
    return slow


async def stored(slow: Slow, writers: int, *calls: Call) -> int:
    """Have the calls stored, the first of them slowly; how many were before the first one was."""
    parts = SimpleNamespace(store=SimpleNamespace(writers_a_process=writers))
    here = Arriving(parts, asyncio.get_running_loop())
    first = asyncio.create_task(here.store(calls[0]))
    await asyncio.to_thread(slow.begun.wait, 10)
    others = [asyncio.create_task(here.store(call)) for call in calls[1:]]
    done, _ = await asyncio.wait(others, timeout=0.3)
    assert not first.done()
    slow.let_go.set()
    await asyncio.gather(first, *others)
    return len(done)


FIRST = text_from("+12025550111", "first")
AGAIN = text_from("12025550111", "again")
OTHER = text_from("+12025550112", "other")


def test_another_client_need_not_wait_but_the_same_one_does(slow):
    assert asyncio.run(stored(slow, 2, FIRST, AGAIN, OTHER)) == 1
    assert slow.handfuls == [[FIRST], [OTHER], [AGAIN]]


def test_with_one_writer_all_wait(slow):
    assert asyncio.run(stored(slow, 1, FIRST, OTHER, AGAIN)) == 0
    assert slow.handfuls == [[FIRST], [OTHER, AGAIN]]


def test_what_waits_for_two_is_not_overtaken_by_either(slow):
    both, last = receipts_of("a", "b"), receipts_of("b")
    assert asyncio.run(stored(slow, 2, receipts_of("a"), both, last)) == 0
    assert slow.handfuls == [[receipts_of("a")], [both, last]]
