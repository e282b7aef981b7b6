"""The strip of days: what each day is called, and that it follows what happened."""

from datetime import date, timedelta

import pytest
from sqlmodel import Session

from rungwise.coach.record.day_strip import (
    MARKS,
    STRIP_DAYS,
    DaySeen,
    DayShown,
    Told,
    counts,
    mark_of,
    strips,
)
from rungwise.coach.record.situation import past
from rungwise.store.tables import Client

TODAY = date(2026, 3, 10)
YESTERDAY = TODAY - timedelta(days=1)


@pytest.mark.parametrize(
    ("seen", "mark"),
    [
        (DaySeen(YESTERDAY, "steady", Told()), "steady"),
        (DaySeen(YESTERDAY, "wobbly", Told()), "wobbly"),
        (DaySeen(YESTERDAY, "short", Told()), "short"),
        (DaySeen(YESTERDAY, "far_short", Told()), "short"),
        (DaySeen(YESTERDAY, "unfinished", Told()), "unfinished"),
        (DaySeen(YESTERDAY, None, Told()), "unfinished"),
        (DaySeen(YESTERDAY, "skipped", Told(skipped=True)), "skipped"),
        # A sign is never hidden by a steady hold, nor by not practising.
        (DaySeen(YESTERDAY, "steady", Told(sign=True)), "sign"),
        (DaySeen(YESTERDAY, "skipped", Told(skipped=True, sign=True)), "sign"),
        (DaySeen(YESTERDAY, None, None, "rest"), "sign"),
        (DaySeen(YESTERDAY, prompt="delivered"), "silent"),
        (DaySeen(TODAY, prompt="delivered"), "waiting"),
        (DaySeen(TODAY, prompt="queued"), "waiting"),
        (DaySeen(YESTERDAY, prompt="missed"), "held"),
        (DaySeen(YESTERDAY, prompt="cancelled"), "held"),
        (DaySeen(YESTERDAY, prompt="failed"), "not_arrived"),
        (DaySeen(YESTERDAY, prompt="unknown"), "not_arrived"),
        (DaySeen(TODAY, due=True), "due"),
        (DaySeen(YESTERDAY, resting=True), "resting"),
        (DaySeen(YESTERDAY), "none"),
    ],
)  # fmt: skip
def test_each_kind_of_day(seen: DaySeen, mark: str) -> None:
    assert mark_of(seen, TODAY) == mark
    assert mark in MARKS


def test_a_summary_counts_what_was_asked() -> None:
    marks = ("steady", "steady", "wobbly", "none", "silent")
    strip = [DayShown(TODAY, mark) for mark in marks]
    assert counts(strip) == "2 steady, 1 wobbly, 1 no answer"
    assert counts([DayShown(TODAY, "none")]) == "nothing asked yet"


def test_a_day_is_told_in_a_sentence() -> None:
    assert DayShown(TODAY, "steady", "up").says == "Tuesday 10 March: steady, moved up"
    assert DayShown(TODAY, "short", "back").says == "Tuesday 10 March: short, moved back"


def strip_of(world) -> list[str]:
    with world.store.read() as session:
        client = session.get_one(Client, world.client_id)
        shown = strips(session, [client], world.clock.now())[world.client_id]
        pasts = {client.id: past(session, client.id)}
        assert strips(session, [client], world.clock.now(), pasts)[client.id] == shown
    assert len(shown) == STRIP_DAYS
    return [one.mark for one in shown]


def test_the_strip_follows_what_is_told(world) -> None:
    assert strip_of(world) == ["none"] * (STRIP_DAYS - 1) + ["due"]
    world.pass_time(hours=2)
    assert strip_of(world)[-1] == "waiting"
    world.reply("20 steady")
    assert strip_of(world)[-1] == "steady"
    world.pass_time(days=1)
    world.reply("14 wobbly")
    world.pass_time(days=1)
    world.pass_time(days=1)
    world.reply("I fell in the kitchen")
    assert strip_of(world)[-4:] == ["steady", "short", "silent", "sign"]
    world.pass_time(days=2)
    assert strip_of(world)[-3:] == ["sign", "resting", "resting"]


def test_however_many_clients_it_takes_the_same_queries(world) -> None:
    asked = []

    class Counted(Session):
        def exec(self, *given, **more):
            asked.append(given)
            return super().exec(*given, **more)

    with world.store.read() as session:
        client = session.get_one(Client, world.client_id)
        with Counted(session.get_bind()) as counted:
            assert strips(counted, [client, client], world.clock.now())
    assert len(asked) == 4
