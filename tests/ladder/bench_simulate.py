"""How many virtual client-days a second go through the decision, on one core.

    python tests/ladder/bench_simulate.py [clients [days]]

The goal: 1,000 clients for 365 days in under 60 s. Also the time of one `decide` after 100 days.
"""

import sys
from statistics import median, quantiles
from time import perf_counter, process_time

import numpy as np

from rungwise.ladder.body import Body, Equipment, Limits
from rungwise.ladder.build import build_ladder
from rungwise.ladder.estimate import chances, next_chance
from rungwise.ladder.progression import Plan, decide
from rungwise.ladder.simulate import VirtualClient, World, run_clients
from rungwise.ladder.staircase import chain

LADDER = build_ladder(Body(246, 93, 175), Equipment(8, True, True), Limits())


def clients_and_days(clients: int, days: int) -> None:
    begun, begun_cpu = perf_counter(), process_time()
    tally = run_clients(LADDER, Plan(), World(), days=days, clients=clients)
    took, took_cpu = perf_counter() - begun, process_time() - begun_cpu
    print(
        f"{clients} clients x {days} days on {len(LADDER)} rungs: {took:.1f} s "
        f"({took_cpu:.1f} s of one core), {tally.days / took_cpu:,.0f} client-days a second "
        f"({tally.practised:,} decisions)"
    )


def one_decision() -> None:
    client = VirtualClient(LADDER, Plan(), World(), np.random.default_rng(1))
    client.live(140)
    history, past = client.history[:-1], client.history[-1]
    while past.report is None:
        history, past = history[:-1], history[-1]
    report = past.report
    opinion = next_chance(LADDER, Plan(), history, report)
    times = {
        "decide": [time_of(lambda: decide(LADDER, Plan(), history, report, opinion))],
        "next_chance": [time_of(lambda: next_chance(LADDER, Plan(), history, report))],
        "chances for the page": [
            time_of(lambda: chances(LADDER, Plan(), history, report.rung_key, report.day))
        ],
        "exact chain": [
            time_of(lambda: chain(LADDER, Plan(), [0.8] * len(LADDER), 0.1).level, repeats=20)
        ],
    }
    for name, ((middle, late),) in times.items():
        print(f"{name}, {len(history)} days of history: median {middle:.1f} us, p99 {late:.1f} us")


def time_of(call, repeats: int = 2_000) -> tuple[float, float]:  # type: ignore[no-untyped-def]
    taken = []
    for _ in range(repeats):
        begun = perf_counter()
        call()
        taken.append((perf_counter() - begun) * 1e6)
    return median(taken), quantiles(taken, n=100)[-1]


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[1:]]
    clients_and_days(*(numbers + [1_000, 365][len(numbers) :]))
    one_decision()
