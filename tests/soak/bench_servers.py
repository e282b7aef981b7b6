"""PostgreSQL with one service process and with two: replies a second, all the way.

    python tests/soak/bench_servers.py [--connections 32] [--rounds 3]

The same replies as in bench_inbound.py, to one process and to two in turn, with as many
connections to each, on one PostgreSQL server that waits for the disk. Server, processes and client
share this machine's cores, so on a machine with few of them the rate says as much of the machine
as of us. Therefore it also prints what the processes and the database server used of the cores,
and from that what two processes would do if each had a core, by the CPU time they need for a reply.
"""

import argparse
import os
from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path
from statistics import median
from time import perf_counter

from bench_inbound import SAID, check_full
from bench_world import call, cpu_s, database, fill_practice, kannel_call, service_at


def postgres_pids() -> list[int]:
    """Every process of PostgreSQL servers on this machine."""
    found = []
    for folder in Path("/proc").iterdir():
        if folder.name.isdigit():
            try:
                name = (folder / "comm").read_text().strip()
            except OSError:
                continue
            if name.startswith("postgres"):
                found.append(int(folder.name))
    return found


def used_s(pids: Sequence[int]) -> dict[int, float]:
    used = {}
    for pid in pids:
        try:
            used[pid] = cpu_s(pid)
        except OSError:
            continue  # a connection that has ended
    return used


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--connections", type=int, default=32, help="to each process")
    parser.add_argument("--replies", type=int, default=1500, help="a run")
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--days", type=int, default=30, help="of each client's past")
    given = parser.parse_args()
    runs = 2 * (given.rounds + 1)
    ratios: list[float] = []
    cpu_ratios: list[float] = []
    with database("postgres") as url, ExitStack() as stack:
        phones = fill_practice(url, given.replies * runs, given.days)
        servers = [stack.enter_context(service_at(url)) for _ in range(2)]
        print(f"{os.cpu_count()} cores for client, PostgreSQL and the service's processes")
        sent = 0
        for number in range(given.rounds + 1):
            rates, limits = [], []
            for count in (1, 2):
                ports = [port for port, _ in servers[:count]]
                pids = [pid for _, pid in servers[:count]]
                requests = [
                    kannel_call(phones[i], f"full-{i}", SAID[i % len(SAID)])
                    for i in range(sent, sent + given.replies)
                ]
                sent += given.replies
                before, begun = used_s(postgres_pids()), perf_counter()
                took = call(ports, pids, requests, given.connections * count)
                seconds = perf_counter() - begun
                after = used_s(postgres_pids())
                database_cores = sum(used - before.get(pid, 0.0) for pid, used in after.items())
                database_cores /= seconds
                rates.append(took.per_second)
                # One Python process runs on one core at a time.
                limits.append(count * took.per_second / took.server_cores)
                if number:
                    print(
                        f"round {number}, {count} process{'es' if count == 2 else '  '}  {took}, "
                        f"PostgreSQL {database_cores:.2f}",
                        flush=True,
                    )
            if number:  # the first warms up
                ratios.append(rates[1] / rates[0])
                cpu_ratios.append(limits[1] / limits[0])
        check_full(url, sent)
    print(
        f"two processes do {median(ratios):.2f} x one ({min(ratios):.2f} to {max(ratios):.2f}) on "
        f"this machine; by the CPU time they need for a reply, with a core for each, "
        f"{median(cpu_ratios):.2f} x ({min(cpu_ratios):.2f} to {max(cpu_ratios):.2f})"
    )


if __name__ == "__main__":
    main()
