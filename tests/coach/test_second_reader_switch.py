"""A practice switches the second reader off and on, and what is read follows, also in replay."""

import json
from pathlib import Path

import pytest
from sqlmodel import select

from rungwise.carriers.base import InboundText
from rungwise.coach.daily.receive import receive
from rungwise.coach.practice.second_reader import switch_second_reader
from rungwise.coach.record.access import OnlyTheLead
from rungwise.coach.rule.replay import replay
from rungwise.reply import Context, read
from rungwise.store.tables import Audit, Message, Practice, Trainer

pytestmark = pytest.mark.both_databases
CORPUS = Path(__file__).parents[1] / "reply/corpus"


def only_doubted() -> str:
    """A text of the corpora in which no list hears harm, and statistics do."""
    for file in sorted(CORPUS.glob("*_en*.jsonl")):
        for line in file.read_text(encoding="utf-8").splitlines():
            text = json.loads(line)["text"]
            if read(text).doubted_by == "statistics":
                return text
    raise AssertionError("the second reader doubts nothing of the corpora")


DOUBTED = only_doubted()


def switch(world, on: bool, role: str = "lead") -> None:
    with world.store.write() as session:
        trainer = session.get_one(Trainer, world.trainer_id)
        trainer.role = role
        switch_second_reader(session, world.clock.now(), trainer, on=on)


def last(world) -> Message:
    with world.store.read() as session:
        rows = select(Message).where(Message.direction == "in")
        return max(session.exec(rows).all(), key=lambda row: row.id)


def test_what_is_read_follows_the_switch_and_replays(world) -> None:
    world.pass_time(hours=1)
    switch(world, on=False)
    world.reply(DOUBTED)
    assert last(world).reading["doubted_by"] is None
    assert last(world).context["second_reader"] is False
    switch(world, on=True)
    world.pass_time(days=1, hours=1)
    world.reply(DOUBTED)
    assert last(world).reading["doubted_by"] == "statistics"
    with world.store.read() as session:
        assert list(replay(session)) == []
        lines = select(Audit).where(Audit.action == "second reader").order_by(Audit.id)
        assert [line.detail["on"] for line in session.exec(lines).all()] == [False, True]
        assert session.exec(select(Practice)).one().second_reader


def test_only_the_lead_switches_it_and_the_same_again_is_no_change(world) -> None:
    with pytest.raises(OnlyTheLead):
        switch(world, on=False, role="trainer")
    switch(world, on=True)
    with world.store.read() as session:
        lines = select(Audit).where(Audit.action == "second reader")
        assert session.exec(lines).all() == []


@pytest.mark.parametrize("store", ["sqlite"], indirect=True)
def test_a_strangers_text_is_read_as_the_practice_wants_it(world) -> None:
    assert read(DOUBTED, Context(second_reader=False)).doubted_by is None
    switch(world, on=False)
    with world.store.write() as session:
        inbound = InboundText("x-1", "+12025550177", "+12025550100", DOUBTED)
        receive(session, world.clock.now(), "handset", inbound)
    assert last(world).reading["doubted_by"] is None
