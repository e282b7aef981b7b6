"""Ten clients of known courses, sorted by a trainer who looks at nothing but the day's page.

They live by the real rule for weeks (virtual_courses.py), are stored as the loop stores them, and
are looked at as the tick does. One of each: how often such are told apart is in flag_trial.py.
"""

import re
from dataclasses import dataclass, replace
from datetime import timedelta

import numpy as np
import pytest
from stored_practice import PROFILE, Entry, Life, at, store_life
from virtual_courses import (
    EVERY_DAY,
    STABLE,
    THREE_DAYS,
    CourseClient,
    Lost,
    Way,
    at_once,
    never,
    off,
    weekly,
)
from web_world import START, World, make_world

from rungwise.coach.record.codec import ladder_of
from rungwise.ladder.simulate import FIRST_DAY
from rungwise.ladder.simulate import World as Nature
from rungwise.store.tables import Client, PlanRow, Trainer
from rungwise.ticks.courses import course_tick

LADDER = ladder_of(PROFILE)
USUAL = Nature()
FAST = replace(USUAL, practice_gain=0.05, most_gain=6.0)


@dataclass(frozen=True)
class One:
    """A client: how they practise, what they lose, for how long, and what the page must say."""

    name: str
    way: Way
    lost: Lost
    days: int
    says: str | None = None


COURSES = (
    One("Steady", Way(THREE_DAYS, world=USUAL), never, 90),
    One("New", Way(EVERY_DAY, world=USUAL), never, 24),
    One("Fast", Way(THREE_DAYS, world=FAST), never, 90),
    One("Back", Way(THREE_DAYS, world=USUAL), off(60, 21, 0.5, 14), 110),
    One("Sudden", Way(EVERY_DAY), at_once(3.0, 90), 100, "Much worse at once since about"),
    One("Quick", Way(THREE_DAYS), weekly(0.6, 105), 150, "Losing ground"),
    One("Slow", Way(EVERY_DAY), weekly(0.15, 60), 150, "Losing ground"),
    One("Fib", Way(THREE_DAYS, fibs=True), never, 63, "Told steadier than anybody stands"),
    One("Plateau", Way(THREE_DAYS, world=STABLE), never, 150, "No farther than on"),
    One("Ill", Way(THREE_DAYS, world=USUAL), never, 90),
)


def life_of(one: One) -> Life:
    client = CourseClient(one.way, one.lost, np.random.default_rng([5, 0]), LADDER)
    client.live(one.days)
    later = START.date() - (FIRST_DAY + timedelta(days=one.days))
    entries = []
    for past in client.history:
        day = past.day + later
        report = past.report and replace(past.report, day=day)
        entries.append(Entry(at(day, 10), report, past.move))
    return Life(tuple(entry.at for entry in entries if entry.report), tuple(entries))


@pytest.fixture(scope="module")
def world(tmp_path_factory: pytest.TempPathFactory):
    made = make_world(tmp_path_factory.mktemp("courses"))
    for number, one in enumerate(COURSES):
        with made.store.write() as session:
            tess = session.get_one(Trainer, made.trainers["tess"])
            client_id = store_life(session, tess, life_of(one), number)
            client = session.get_one(Client, client_id)
            client.name, client.called = f"{one.name} Sample", one.name
            client.last_reply_at = made.clock.now()
            plan = session.get_one(PlanRow, client_id)
            plan.settings = {**plan.settings, "weekdays": sorted(one.way.weekdays)}
            session.add_all([client, plan])
        made.clients[one.name] = client_id
    made.clock.advance(timedelta(hours=2))
    made.reply("Ill", "my knee hurts a lot since yesterday")
    while course_tick(made.store, made.clock):
        pass
    yield made
    made.store.close()


def seen(world: World) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", world.signed_in().page("/")).split())


def test_ten_clients_are_sorted_right_from_the_days_page_alone(world: World) -> None:
    page = seen(world)
    now, see = page.partition("To see")[::2]
    assert "Ill Sample" in now
    for one in COURSES:
        if one.says is not None:
            line = re.search(rf"{one.name} Sample ([^.]*)\.", see)
            assert line is not None, one.name
            assert one.says in line[1]
            assert see.count(f"{one.name} Sample") == 1
    calm = [one.name for one in COURSES if one.says is None and one.name != "Ill"]
    found = [name for name in calm if f"{name} Sample" in page.partition("Today’s texts")[0]]
    assert found == [], page
