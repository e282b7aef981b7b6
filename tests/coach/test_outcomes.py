"""The picture across a practice, counted by hand on a few small lives."""

from datetime import date, timedelta

import pytest
from sqlmodel import select
from stored_practice import (
    BEGAN,
    PROFILE,
    Entry,
    Life,
    at,
    lives,
    store_clients,
    store_life,
    store_practice,
)

from rungwise.coach.record.codec import ladder_of
from rungwise.coach.record.falls import falls_of
from rungwise.coach.reports.outcomes import outcomes
from rungwise.errors import ImpossibleValue
from rungwise.evidence.landmarks import LANDMARKS
from rungwise.evidence.rates import poisson_interval
from rungwise.ladder.day import DayReport, SideHold
from rungwise.ladder.moves import Move
from rungwise.store.queries.banner_counts import Scope
from rungwise.store.tables import Client, Placement, Question, Report, Trainer

pytestmark = pytest.mark.both_databases

LADDER = ladder_of(PROFILE)
ON_SQLITE = pytest.mark.parametrize("store", ["sqlite"], indirect=True)
TOGETHER, SEMI, TANDEM, ONE_LEG = (
    "firm/parallel/o93/hover",
    "firm/semi_tandem/o93/hover",
    "firm/tandem/hover",
    "firm/single_leg/beside/hover",
)
FIRST = LADDER.rungs[0].key


def day(number: int) -> date:
    return BEGAN + timedelta(days=number)


def placed(number: int, from_key: str, to_key: str, **facts: object) -> Entry:
    move = Move("override", from_key, to_key, "trainer", "Looked.", (), facts)
    return Entry(at(day(number), 7), None, move)


def moved(number: int, kind: str, from_key: str, to_key: str) -> Entry:
    report = DayReport(day(number), from_key, (SideHold(20.0),), "steady")
    return Entry(at(day(number), 10), report, Move(kind, from_key, to_key, "x", "."))


def stayed(number: int, key: str, **told: object) -> Entry:
    report = DayReport(day(number), key, **{"holds": (SideHold(20.0),), **told})
    return Entry(at(day(number), 10), report, Move("stay", key, key, "gathering", "."))


def life(*entries: Entry, asked: range | None = None) -> Life:
    days = asked if asked is not None else range(1, 29)
    return Life(tuple(at(day(number), 9) for number in days), entries)


def looked(store, trainer, number: int = 28, **more):
    with store.read() as session:
        scope = Scope(trainer.practice_id, trainer.id)
        return outcomes(session, scope, at(day(number), 12), **{"weeks": 4, **more})


@pytest.fixture
def trainer(store) -> Trainer:
    with store.write() as session:
        return store_practice(session)


def put(store, trainer, *given: Life, state: str = "active") -> list[int]:
    with store.write() as session:
        count = len(session.exec(select(Client.id)).all())
        return [
            store_life(session, trainer, one, count + place, state)
            for place, one in enumerate(given)
        ]


# --- landmarks and times to them ------------------------------------------------------------------


def test_the_clients_are_counted_by_the_last_landmark_at_or_below_them(store, trainer):
    put(
        store,
        trainer,
        life(placed(0, FIRST, FIRST)),
        life(placed(0, FIRST, TOGETHER)),
        life(placed(0, TOGETHER, LADDER.above(TOGETHER).key)),
        life(placed(0, FIRST, TANDEM)),
        life(placed(0, FIRST, LADDER.rungs[-1].key)),
    )
    put(store, trainer, life(placed(0, FIRST, ONE_LEG)), state="stopped")
    found = looked(store, trainer).by_landmark
    assert found == {
        None: 1, "feet_together": 2, "semi_tandem": 0, "tandem": 1, "single_leg": 0,
        "soft_surface": 1,
    }  # fmt: skip


def test_time_to_a_landmark_counts_those_still_under_way(store, trainer):
    put(
        store,
        trainer,
        life(placed(0, FIRST, FIRST), moved(6, "up", FIRST, TOGETHER)),
        life(placed(0, FIRST, FIRST), moved(10, "up", FIRST, TOGETHER),
             moved(12, "back", TOGETHER, FIRST)),
        life(placed(0, FIRST, FIRST), stayed(20, FIRST)),
        life(placed(0, FIRST, TOGETHER), stayed(20, TOGETHER)),  # began there: not counted
    )  # fmt: skip
    put(store, trainer, life(placed(0, FIRST, FIRST), stayed(8, FIRST)), state="stopped")
    times = {one.landmark: one.curve for one in looked(store, trainer).times}
    together = times["feet_together"]
    # 4 began below: reached on days 6 and 10; one stopped on day 8, one is under way on day 28.
    assert (together.people, together.reached) == (4, 2)
    # Kaplan-Meier by hand: 1 - 1/4, then x (1 - 1/2) of the two left.
    assert [(s.day, s.under_way, s.share_left) for s in together.steps] == [
        (6, 4, 0.75), (10, 2, 0.375),
    ]  # fmt: skip
    assert together.median_day == 10
    assert together.longest_day == 28
    assert (times["tandem"].people, times["tandem"].reached) == (5, 0)


def test_a_landmark_passed_by_a_placing_counts_as_reached(store, trainer):
    put(store, trainer, life(placed(0, FIRST, FIRST), placed(9, FIRST, TANDEM)))
    times = {one.landmark: one.curve for one in looked(store, trainer).times}
    assert [times[name].reached for name in LANDMARKS] == [1, 1, 1, 0, 0]
    assert times["semi_tandem"].steps[0].day == 9


# --- practice and falls ---------------------------------------------------------------------------


def test_practice_days_against_days_asked_by_week(store, trainer):
    week = [stayed(number, FIRST) for number in (7, 8, 9)]
    put(
        store,
        trainer,
        life(placed(0, FIRST, FIRST), *week, stayed(10, FIRST, holds=(), skipped=True)),
        life(placed(0, FIRST, FIRST), stayed(8, FIRST)),
        life(placed(0, FIRST, FIRST), asked=range(1, 7)),  # no prompts after the first week
    )
    second = looked(store, trainer).weeks[1]
    assert second.monday == day(7)
    assert (second.clients, second.asked_days, second.practised_days) == (2, 14, 4)
    assert (second.enough, second.enough_share) == (1, 0.5)
    assert second.days_a_client == 2


def test_weeks_are_the_full_ones_before_this(store, trainer):
    put(store, trainer, life(placed(0, FIRST, FIRST)))
    weeks = looked(store, trainer, 30).weeks
    assert [week.monday for week in weeks] == [day(0), day(7), day(14), day(21)]
    empty = looked(store, trainer, 30 + 70).weeks
    assert [week.clients for week in empty] == [0, 0, 0, 0]
    assert empty[0].days_a_client is None
    assert empty[0].enough_share is None
    for wrong in (3, 53):
        with pytest.raises(ImpossibleValue):
            looked(store, trainer, weeks=wrong)


def asked(session, client_id: int, number: int, answer: str | None, **more: object) -> None:
    """On this Sunday the client was asked about the week before."""
    sent = at(day(number), 17)
    row = Question(
        client_id=client_id,
        kind="fall_weekly",
        local_date=day(number),
        since=day(number - 7),
        asked_at=sent,
        answered_at=sent + timedelta(minutes=9),
        answer=answer,
        **more,
    )
    session.add(row)


def test_falls_per_person_year_of_the_days_answered_for(store, trainer):
    fell = {"holds": (), "fall": "yes"}
    every_day = life(placed(0, FIRST, FIRST), *(stayed(n, FIRST) for n in range(1, 28)))
    fell_on_day_9 = life(placed(0, FIRST, FIRST), stayed(2, FIRST), stayed(9, FIRST, **fell))
    unsure = life(placed(0, FIRST, FIRST), stayed(3, FIRST, holds=(), fall="unsure"))
    put(store, trainer, every_day, fell_on_day_9, unsure)
    with store.write() as session:
        ids = session.exec(select(Client.id).order_by(Client.name)).all()
        # BEGAN is a Monday: the Sundays are 6, 13, 20 and 27.
        for number, answer in ((6, "no"), (13, "no"), (20, None), (27, "no")):
            asked(session, ids[0], number, answer)
        asked(session, ids[1], 6, "no")
        asked(session, ids[2], 6, None)
    falls = looked(store, trainer).falls
    # A result in a week is no answer: only the weeks answered, and that of the fall told by itself.
    # Asked on a Sunday, the day before the client's first is no day of theirs.
    assert (falls.falls, falls.fallers, falls.repeat_fallers, falls.people) == (1, 1, 0, 2)
    assert (falls.days_answered, falls.days_missing) == (21 + 14, 7 + 14 + 28)
    # One fall is no cluster, so the interval is Poisson's.
    low, high = poisson_interval(1)
    rate, years = falls.per_person_year, 35 / 365.25
    assert falls.spread is None
    assert (rate.value, rate.low, rate.high) == pytest.approx(
        (1 / years, low / years, high / years)
    )


@ON_SQLITE
def test_who_did_not_know_and_then_said_whether_they_fell_has_answered(store, trainer):
    put(store, trainer, life(placed(0, FIRST, FIRST), stayed(2, FIRST)))
    with store.write() as session:
        client_id = session.exec(select(Client.id)).one()
        asked(session, client_id, 6, "unknown")
        asked(session, client_id, 13, "unknown")
        settled = at(day(6), 17) + timedelta(minutes=9)
        told = {"kind": "fall_yes_no", "local_date": day(6), "asked_at": settled, "answer": "no"}
        session.add(Question(client_id=client_id, answered_at=settled, **told))
    assert looked(store, trainer).falls.days_answered == 7


def test_nobody_yet(store, trainer):
    found = looked(store, trainer)
    assert found.clients == 0
    assert found.falls.per_person_year is None
    assert found.reversals.share is None
    assert all(one.curve.people == 0 for one in found.times)


def test_a_fall_is_one_however_it_was_told(world):
    world.tick()
    world.pass_time(hours=2)
    world.reply("I fell in the kitchen")
    world.reply("yes hurt, I fell")
    since = world.clock.now() - timedelta(days=3)
    with world.store.read() as session:
        client = session.get_one(Client, world.client_id)
        assert days_of(session, client, since) == [date(2026, 3, 2)]
        assert falls_of(session, [client], world.clock.now() + timedelta(days=3)) == {}


# --- what trainers reversed -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("after", "reversed_"),
    [
        ((placed(8, TOGETHER, FIRST),), True),
        ((placed(22, TOGETHER, FIRST),), False),  # over 14 days later
        ((placed(8, TOGETHER, FIRST, after_rest=True),), False),
        ((placed(8, TOGETHER, TANDEM),), False),  # the same way, farther
        ((placed(8, TOGETHER, TOGETHER),), False),  # looked, and left there
        ((moved(8, "back", TOGETHER, FIRST),), False),  # the rule itself
        ((moved(8, "up", TOGETHER, SEMI), placed(9, SEMI, FIRST)), False),  # the later one is
        ((), False),
    ],
)
@ON_SQLITE
def test_an_up_is_reversed_by_a_placing_back_to_where_it_was(store, trainer, after, reversed_):
    put(store, trainer, life(placed(0, FIRST, FIRST), moved(7, "up", FIRST, TOGETHER), *after))
    found = looked(store, trainer).reversals
    assert found.ups >= 1
    first_up_reversed = found.ups_reversed == 1 and len(after) < 2
    assert first_up_reversed is reversed_


@ON_SQLITE
def test_a_back_is_reversed_by_a_placing_up_again(store, trainer):
    put(
        store,
        trainer,
        life(placed(0, FIRST, TANDEM), moved(7, "back", TANDEM, SEMI), placed(9, SEMI, TANDEM)),
        life(placed(0, FIRST, TANDEM), moved(7, "back", TANDEM, SEMI), placed(9, SEMI, FIRST)),
    )
    found = looked(store, trainer).reversals
    assert (found.backs, found.backs_reversed, found.placed) == (2, 1, 4)
    assert found.share.value == 0.5


# --- scope and time -------------------------------------------------------------------------------


@ON_SQLITE
def test_a_trainer_sees_their_own_and_those_who_never_agreed_are_left_out(store, trainer):
    put(store, trainer, *lives(2, 30))
    with store.write() as session:
        client = session.exec(select(Client)).first()
        client.consent_at = None
        session.add(client)
    assert looked(store, trainer).clients == 1
    with store.read() as session:
        other = Scope(trainer.practice_id, trainer.id + 1)
        assert outcomes(session, other, at(day(28), 12)).clients == 0


@ON_SQLITE
def test_nothing_is_written(store, trainer):
    store_clients(store, trainer, lives(2, 30), 2)

    def rows():
        with store.read() as session:
            tables = (Client, Placement, Report)
            return [[one.model_dump() for one in session.exec(select(t))] for t in tables]

    before = rows()
    looked(store, trainer)
    assert rows() == before


def days_of(session, client, since):
    return [fall.day for fall in falls_of(session, [client], since)[client.id]]


# --- one fall is one fall -------------------------------------------------------------------------


def test_bruises_from_a_fall_are_no_second_one(world):
    world.tick()
    world.pass_time(hours=2)
    world.reply("I fell in the kitchen")
    world.clock.advance(timedelta(days=1))
    world.reply("Still bruised from when I fell")
    with world.store.read() as session:
        client = session.get_one(Client, world.client_id)
        told = days_of(session, client, world.clock.now() - timedelta(days=5))
    assert told == [date(2026, 3, 2)]
