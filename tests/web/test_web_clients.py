"""The list of clients: states, search, order and pages, with as many queries for any number."""

import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, replace
from datetime import date, timedelta
from itertools import pairwise

import pytest
from sqlalchemy import event
from web_world import World

from rungwise.coach.plan.placement import pause
from rungwise.coach.record.situation import load
from rungwise.coach.record.trend import height, rung_of_key, trend
from rungwise.ladder.body import Body, Equipment, Limits
from rungwise.ladder.build import build_ladder
from rungwise.store.tables import Client, Placement, Trainer
from rungwise.web.clients.client_list import seconds_told
from rungwise.wording.rung_words import rung_short

BODY = Body(foot_length_mm=246, foot_breadth_mm=93, hip_width_mm=177)
FULL = build_ladder(
    BODY, Equipment(mat_layers=8, half_foam_whole=True, half_foam_cut=True), Limits()
)


def row_of(page: str, name: str) -> str:
    rows = re.findall(
        r"<tr role=\"row\">\n<td[^>]*>.*?</td>\n(<th scope=\"row\".*?</tr>)", page, re.DOTALL
    )
    (found,) = [row for row in rows if f">{name}</a>" in row]
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", found)).strip()


def names(page: str) -> list[str]:
    return re.findall(r'<th scope="row" role="rowheader"><a href="/clients/\d+">([^<]+)</a>', page)


def paused(world: World) -> None:
    with world.store.write() as session:
        situation = load(session, session.get_one(Client, world.clients["ada"]))
        assert situation is not None
        trainer = session.get_one(Trainer, world.trainers["tess"])
        pause(session, world.clock.now(), trainer, situation)


STATES: list[tuple[str, Callable[[World], object]]] = [
    ("Due 09:00 EST", lambda world: world.tick()),
    ("Sent, no reply yet", lambda world: world.pass_time(hours=2)),
    ("Steady 20 s", lambda world: (world.pass_time(hours=2), world.reply("ada", "20 steady"))),
    ("Wobbly 20 s", lambda world: (world.pass_time(hours=2), world.reply("ada", "20 wobbly"))),
    ("Skipped", lambda world: (world.pass_time(hours=2), world.reply("ada", "skipped today"))),
    ("Replied", lambda world: (world.pass_time(hours=2), world.reply("ada", "what is hover?"))),
    ("Silent", lambda world: world.pass_time(days=4)),
    ("Resting", lambda world: (world.pass_time(hours=2), world.reply("ada", "I fell"))),
    ("Stopped texts", lambda world: world.reply("ada", "STOP")),
    ("Paused", paused),
]


@pytest.mark.parametrize(("state", "lived"), STATES, ids=[state for state, _ in STATES])
def test_todays_state_of_a_client(
    world: World, state: str, lived: Callable[[World], object]
) -> None:
    lived(world)
    browser = world.signed_in()
    page = browser.page("/clients")
    assert state in row_of(page, "Ada Sample")
    code = re.search(r'class="today today-(\w+)"', page)
    assert code
    assert "Ada Sample" in names(browser.page(f"/clients?today={code[1]}"))
    other = "invited" if code[1] != "invited" else "due"
    assert names(browser.page(f"/clients?today={other}")) == []


def test_rung_days_and_trend_are_shown(world: World) -> None:
    world.pass_time(hours=2)
    for _ in range(2):
        world.reply("ada", "20 steady")
        world.pass_time(days=1)
    world.pass_time(days=2)
    row = row_of(world.signed_in().page("/clients"), "Ada Sample")
    assert "3 days ago" in row
    assert "Side by side, 8.5 cm apart, hover" in row
    assert "1 up" in row


def test_an_open_alert_is_marked_in_the_list(world: World) -> None:
    world.reply("ada", "I fell")
    page = world.signed_in().page("/clients")
    assert "Urgent" in row_of(page, "Ada Sample")
    assert "Urgent" not in row_of(page, "Bo Specimen")


def test_a_date_is_the_clients_own(world: World) -> None:
    for who in ("ada", "bo"):
        world.reply(who, "20 steady")
    with world.store.write() as session:
        session.get_one(Client, world.clients["bo"]).time_zone = "Pacific/Auckland"
    page = world.signed_in().page("/clients")  # already Tuesday in Auckland
    assert "today" in row_of(page, "Ada Sample")
    assert "yesterday" in row_of(page, "Bo Specimen")


def test_search_and_sorting_stay_in_the_address(world: World) -> None:
    browser = world.signed_in()
    assert names(browser.page("/clients")) == ["Ada Sample", "Bo Specimen"]
    assert names(browser.page("/clients?turned=true")) == ["Bo Specimen", "Ada Sample"]
    assert names(browser.page("/clients?q=speci")) == ["Bo Specimen"]
    for number in ("5550201", "555-0201", "(202) 555 0201"):
        assert names(browser.page(f"/clients?q={number}")) == ["Bo Specimen"]
    assert names(browser.page("/clients?q=%25")) == []
    page = browser.page("/clients?q=a&sort=days&turned=true")
    assert 'href="/clients?q=a&amp;sort=rung"' in page
    assert 'href="/clients?q=a&amp;sort=days"' in page
    assert 'aria-sort="descending"' in page


def test_sorting_by_what_may_need_the_trainer_and_by_rung(world: World) -> None:
    world.pass_time(hours=2)
    world.reply("ada", "20 steady")
    world.reply("bo", "20 wobbly")
    browser = world.signed_in()
    assert names(browser.page("/clients?sort=today")) == ["Bo Specimen", "Ada Sample"]
    with world.store.write() as session:
        session.get_one(Placement, world.clients["ada"]).rung_key = "firm/tandem/hover"
    assert names(browser.page("/clients?sort=rung")) == ["Bo Specimen", "Ada Sample"]
    world.pass_time(days=1)
    world.reply("bo", "20 steady")
    assert names(browser.page("/clients?sort=days")) == ["Ada Sample", "Bo Specimen"]


def test_whose_clients_are_listed(world: World) -> None:
    assert names(world.signed_in("omar").page("/clients")) == ["Cy Instance"]
    # Asking for another trainer's changes nothing for a trainer.
    tess = world.trainers["tess"]
    assert names(world.signed_in("omar").page(f"/clients?trainer={tess}")) == []
    lead = world.signed_in("lena")
    assert len(names(lead.page("/clients"))) == 3
    assert names(lead.page(f"/clients?trainer={tess}")) == ["Ada Sample", "Bo Specimen"]


def many(world: World, number: int) -> None:
    """More clients for Tess, copied from Ada with a plan and a place of their own."""
    with world.store.write() as session:
        one = session.get_one(Client, world.clients["ada"])
        situation = load(session, one)
        assert situation is not None
        for place in range(number):
            values = one.model_dump(exclude={"id"})
            values |= {"name": f"Client {place:03}", "phone": f"+1202556{place:04}"}
            copy = Client(**values)
            session.add(copy)
            session.flush()
            plan = type(situation.plan_row)(**situation.plan_row.model_dump(exclude={"id"}))
            plan.client_id = copy.id
            session.add(plan)
            session.add(Placement(**situation.placement.model_dump() | {"client_id": copy.id}))


@contextmanager
def queries(world: World) -> Iterator[list[str]]:
    made: list[str] = []

    def note(_c: object, _cur: object, statement: str, *_rest: object) -> None:
        if statement.startswith("SELECT"):
            made.append(statement)

    event.listen(world.store.engine, "before_cursor_execute", note)
    yield made
    event.remove(world.store.engine, "before_cursor_execute", note)


@pytest.mark.parametrize(
    "address",
    ["/", "/clients", "/clients?sort=today&today=due", "/clients/1", "/clients/1/override"],
)
def test_a_page_makes_as_many_queries_for_three_clients_as_for_hundreds(
    world: World, address: str
) -> None:
    world.reply("bo", "what is hover?")
    browser = world.signed_in()
    with queries(world) as few:
        browser.page(address)
    many(world, 120)
    with queries(world) as lots:
        browser.page(address)
    assert len(lots) == len(few)
    assert len(few) <= 20


def test_hundreds_of_clients_come_in_pages(world: World) -> None:
    many(world, 120)
    browser = world.signed_in()
    page = browser.page("/clients")
    assert len(names(page)) == 50
    assert "122 clients, page 1 of 3" in page
    assert 'href="/clients?page=2"' in page
    everyone = [name for n in (1, 2, 3) for name in names(browser.page(f"/clients?page={n}"))]
    assert len(set(everyone)) == 122
    assert len(page.encode()) < 150_000


@pytest.mark.parametrize(
    ("told", "shown"),
    [
        (None, ""),
        ({"holds": [{"seconds": 20.0, "side": None}]}, "20 s"),
        (
            {"holds": [{"seconds": 20.0, "side": "left"}, {"seconds": 14.5, "side": "right"}]},
            "L 20, R 14.5 s",
        ),
        ({"holds": [{"seconds": None, "side": None}]}, ""),
    ],
)
def test_the_seconds_of_the_day(told: dict[str, object] | None, shown: str) -> None:
    assert seconds_told(told) == shown


def test_a_key_alone_gives_the_rungs_short_name() -> None:
    stiff = replace(BODY, narrowest_offset_mm=120)
    for body, ladder in ((BODY, FULL), (stiff, build_ladder(stiff, Equipment(), Limits()))):
        for rung in ladder.rungs:
            found = rung_of_key(rung.key, asdict(body))
            assert found is not None
            # How close a half foam lets the feet come is not in the key.
            if not (rung.surface == "half_foam" and rung.landmark == "feet_narrowest"):
                assert rung_short(found) == rung_short(rung)


def test_heights_rise_along_firm_ground() -> None:
    firm = [height(rung.key) for rung in FULL.rungs if rung.round == "firm"]
    stances = [height(rung.key) for rung in FULL.rungs if rung.round == "firm" and rung.landmark]
    assert stances == sorted(stances)
    assert sum(b > a for a, b in pairwise(firm)) >= 0.8 * (len(firm) - 1)
    assert height("nonsense") == 0.0
    assert rung_of_key("nonsense", {}) is None


def test_a_trend_is_a_line_of_steps_within_its_days() -> None:
    today = date(2026, 3, 30)
    low, high = "firm/parallel/o177/hover", "firm/tandem/hover"
    moves = [
        (today - timedelta(days=10), "override", low),
        (today - timedelta(days=5), "up", high),
        (today - timedelta(days=1), "back", low),
    ]
    found = trend(moves, low, today, 10)
    flat_then_up = ((0.0, 0.0), (0.5, 0.0), (0.5, 1.0))
    then_back = ((0.9, 1.0), (0.9, 0.0), (1.0, 0.0), (1.0, 0.0))
    assert found.points == flat_then_up + then_back
    assert (found.ups, found.backs, found.placed) == (1, 1, 1)
    assert trend((), low, today, 10).points == ((1.0, 0.5),)
    assert trend((), None, today, 10).points == ()
