"""What the list of clients says of today is read alike from both databases."""

import pytest

from rungwise.store.queries.banner_counts import Scope
from rungwise.store.queries.roster import Row, Wanted, clients_page
from rungwise.store.queries.today import TODAY
from rungwise.store.tables import Client, Message, Trainer

pytestmark = pytest.mark.both_databases

DAY = {
    "due": [],
    "sent": [2],
    "steady": [2, "20 steady"],
    "wobbly": [2, "20 wobbly"],
    "skipped": [2, "skipped today"],
    "replied": [2, "what is hover?"],
    "silent": [96],
    "resting": [2, "I fell"],
    "stopped": ["STOP"],
}


def lived(world, day) -> None:
    """Hours that pass, and what the client writes."""
    world.tick()
    for step in day:
        if isinstance(step, str):
            world.reply(step)
        else:
            world.pass_time(hours=step)


def listed(world, **wanted) -> tuple[list[Row], int]:
    with world.store.read() as session:
        scope = Scope.of(session.get_one(Trainer, world.trainer_id))
        return clients_page(session, scope, world.clock.now(), Wanted(**wanted), 50)


@pytest.mark.parametrize(("today", "day"), DAY.items())
def test_today_is_named_found_and_sorted_by(world, today, day) -> None:
    lived(world, day)
    for turned in (False, True):
        (row,), count = listed(world, sort="today", turned=turned)
        assert (row.today, count) == (today, 1)
    for other in TODAY:
        assert [row.today for row in listed(world, today=other)[0]] == [today] * (other == today)


@pytest.mark.parametrize(("state", "today"), [("failed", "not_arrived"), ("missed", "missed")])
def test_a_prompt_that_did_not_go_is_told(world, state, today) -> None:
    lived(world, [2])
    with world.store.write() as session:
        session.get_one(Message, world.sent("prompt")[-1].id).state = state
    assert [row.today for row in listed(world, today=today)[0]] == [today]


def test_the_day_is_the_clients_own(world) -> None:
    """At 20:00 of Monday in New York it is Tuesday in Auckland, where nothing was sent yet."""
    lived(world, [12, "20 steady"])
    assert [row.today for row in listed(world)[0]] == ["steady"]
    with world.store.write() as session:
        session.get_one(Client, world.client_id).time_zone = "Pacific/Auckland"
    (row,), _ = listed(world, sort="today")
    assert row.today not in ("steady", "sent")
    assert row.told is None
    assert row.local_date.isoformat() == "2026-03-03"
