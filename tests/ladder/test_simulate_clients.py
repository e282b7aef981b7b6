"""Virtual clients through the real decision: published levels, the exact chain, and the rest."""

from dataclasses import fields, replace
from math import sqrt
from statistics import fmean, stdev

import numpy as np
import pytest

from rungwise.errors import ImpossibleValue
from rungwise.ladder.body import Body, Equipment, Limits
from rungwise.ladder.build import build_ladder
from rungwise.ladder.caution import PRESETS, Caution, published_rule, trial
from rungwise.ladder.estimate import next_chance
from rungwise.ladder.progression import Plan
from rungwise.ladder.rungs import Ladder
from rungwise.ladder.simulate import STILL, VirtualClient, World, even_ladder, run_clients
from rungwise.ladder.staircase import chain, levitt_level, weighted_level
from rungwise.ladder.tally import Reached, Tally, summarise

MIDDLE = replace(STILL, start_place=0.5)
FIRM = build_ladder(Body(246, 93, 175), Equipment(), Limits())


def settled_share(ladder: Ladder, rule: Caution, world: World, clients: int, days: int) -> tuple:
    """After 500 days: the share of truly steady days and the mean true chance, with its error.

    Ups and backs must balance, so the share can hardly be wrong; the mean chance can.
    """
    shares, chances = [], []
    for number in range(clients):
        client = VirtualClient(
            ladder, Plan(caution=rule), world, np.random.default_rng([7, number])
        )
        tally = client.live(500 + days, settling=500)
        shares.append(tally.late_steady / tally.late_days)
        chances.append(tally.late_chance / tally.late_days)
    return fmean(shares), fmean(chances), stdev(chances) / sqrt(clients)


def exact_level(ladder: Ladder, rule: Caution, world: World) -> float:
    client = VirtualClient(ladder, Plan(caution=rule), world, np.random.default_rng(0))
    chances = [client.true_chance(rung) for rung in ladder.rungs]
    return chain(ladder, Plan(caution=rule), chances, world.far_short_share).level


@pytest.mark.parametrize("days", [1, 2, 3, 4])
def test_levitts_levels_over_20_000_days(days: int) -> None:
    ladder = even_ladder(240, 0.05)
    rule = published_rule(days)
    share, mean, error = settled_share(ladder, rule, MIDDLE, clients=5, days=4_000)
    assert share == pytest.approx(levitt_level(days), abs=0.02)
    assert mean == pytest.approx(levitt_level(days), abs=0.02)
    assert abs(mean - exact_level(ladder, rule, MIDDLE)) < 4 * error


def test_kaernbachs_weighted_rule() -> None:
    rule = published_rule(1, back_steps=3)
    share, mean, _ = settled_share(even_ladder(240, 0.05), rule, MIDDLE, clients=4, days=2_000)
    assert share == pytest.approx(weighted_level(1, 3), abs=0.02)
    assert mean == pytest.approx(weighted_level(1, 3), abs=0.02)


@pytest.mark.parametrize("name", PRESETS)
@pytest.mark.parametrize("far", [0.0, 0.2])
def test_the_exact_chain_agrees_with_the_simulator(name: str, far: float) -> None:
    # What the chain leaves out is off: the second opinion and the hold after repeated backs.
    rule = trial(PRESETS[name], least_chance=None, stuck_backs=1_000_000)
    world = replace(MIDDLE, far_short_share=far, short_share=0.3)
    ladder = even_ladder(60, 0.25, landmark_every=12)
    _, mean, error = settled_share(ladder, rule, world, clients=8, days=500)
    assert abs(mean - exact_level(ladder, rule, world)) < 4 * error


def test_the_same_seed_is_the_same_run_and_another_is_not() -> None:
    runs = [run_clients(FIRM, Plan(), World(), days=60, clients=3, seed=seed) for seed in (5, 5, 6)]
    assert runs[0] == runs[1]
    assert runs[0] != runs[2]


def test_the_opinion_is_the_one_the_service_would_have() -> None:
    world = World(away_chance=0.02)
    plan = Plan(caution=trial(PRESETS["usual"], least_chance=0.75))
    client = VirtualClient(FIRM, plan, world, np.random.default_rng(11))
    client.live(120)
    seen = 0
    for number, past in enumerate(client.history):
        if past.report is None or "chance" not in past.move.facts:
            continue
        opinion = next_chance(FIRM, plan, client.history[:number], past.report)
        assert opinion is not None
        assert past.move.facts["chance"] == [opinion.mean, opinion.low, opinion.high]
        seen += 1
    assert seen > 10


def test_gates_stay_closed_until_the_virtual_trainer_opens_them() -> None:
    ladder = build_ladder(Body(246, 93, 175), Equipment(mat_layers=4), Limits())
    strong = replace(STILL, start_place=0.95, start_chance=0.99)
    gate = next(place for place, rung in enumerate(ladder.rungs) if rung.gate is not None)
    for waits, passes in ((365, False), (2, True)):
        world = replace(strong, trainer_days=waits)
        tally = run_clients(ladder, Plan(), world, days=300, clients=2)
        assert (sum(tally.rung_days[gate:]) > 0) is passes


def test_days_away_go_back_and_long_absence_rests() -> None:
    away = World(away_chance=0.05)
    tally = run_clients(FIRM, Plan(), away, days=200, clients=10)
    assert tally.away_backs > 10
    gone = World(missed_chance=0.97, away_chance=0.0)
    assert run_clients(FIRM, Plan(), gone, days=400, clients=5).rests > 0


def test_the_realistic_presets_are_as_cautious_as_they_say() -> None:
    found = {
        name: summarise(name, run_clients(FIRM, Plan(caution=c), World(), days=200, clients=15))
        for name, c in PRESETS.items()
    }
    gentle, usual, keen = (found[name] for name in ("gentle", "usual", "keen"))
    assert gentle.chance_share > usual.chance_share >= keen.chance_share - 0.01
    assert gentle.wobbly_days_month < usual.wobbly_days_month
    assert gentle.ups_year < usual.ups_year
    assert usual.risky_share_of_ups < 0.02
    assert gentle.risky_share_of_ups < 0.005


def test_practice_brings_clients_further() -> None:
    places = []
    for gain in (0.0, 0.05):
        tally = run_clients(
            FIRM, Plan(), World(practice_gain=gain, lay_off_loss=0.0), days=200, clients=10
        )
        days = sum(tally.rung_days)
        places.append(sum(place * n for place, n in enumerate(tally.rung_days)) / days)
    assert places[1] > places[0] + 3


def test_counts_add_up() -> None:
    tally = run_clients(FIRM, Plan(), World(), days=150, clients=6, settling=50)
    assert tally.clients == 6
    assert tally.days == 900
    assert tally.practised == sum(tally.rung_days)
    assert 0 < tally.late_steady < tally.late_days < tally.practised < tally.days
    assert tally.risky_ups <= tally.ups
    for label, reached in tally.days_to.items():
        assert len(reached) <= 6, label
        assert all(day is None or 1 <= day <= 150 for day in reached)


def test_a_summary_by_hand() -> None:
    tally = Tally(clients=2, days=730, practised=300, unsteady=40, late_days=100, late_steady=80)
    tally.late_chance, tally.ups, tally.risky_ups = 82.0, 50, 5
    tally.days_to = {"firm tandem": [10, None, 30], "firm single leg": [None]}
    found = summarise("by hand", tally)
    assert (found.steady_share, found.chance_share, found.wobbly_days_month) == (0.8, 0.82, 4.0)
    assert (found.ups_year, found.risky_moves_year, found.risky_share_of_ups) == (25, 2.5, 0.1)
    assert found.landmarks["firm tandem"] == Reached(3, 2, 20, 12, 28)
    assert found.landmarks["firm single leg"] == Reached(1, 0, None, None, None)


def test_an_empty_tally_has_a_summary() -> None:
    assert summarise("nothing", Tally()).risky_share_of_ups == 0


@pytest.mark.parametrize("field", [field.name for field in fields(World)])
def test_impossible_worlds_are_refused(field: str) -> None:
    for value in (-0.1, 1_000):
        with pytest.raises(ImpossibleValue) as refused:
            World(**{field: value})
        assert refused.value.field == field


def test_shares_of_failures_may_not_exceed_one() -> None:
    with pytest.raises(ImpossibleValue, match=r"short_share is 0\.8; it must be at most 0\.7"):
        World(short_share=0.8, far_short_share=0.3)
