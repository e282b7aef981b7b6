"""PostgreSQL with one service process and with two: replies a second, all the way.

    python tests/soak/bench_servers.py [--connections 32] [--rounds 3] [--cores-each 0.25]

The same replies as in bench_inbound.py, to one process and to two in turn, with as many
connections to each, on one PostgreSQL server that waits for the disk. Server, processes and client
share this machine's cores, so on a machine with few of them the rate says as much of the machine
as of us. Therefore it also prints what the processes and the database server used of the cores,
and from that what two processes would do if each had a core, by the CPU time they need for a reply.

With --cores-each every process of the service may use so much of a core and no more, alone or not,
and the machine has room for the rest. Then the rate by the clock says whether anything but cores
holds the second process back, such as rows that both want. It takes root, and the kernel's control
groups of version 1.
"""

import argparse
import os
import sys
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path
from statistics import median
from time import perf_counter

from bench_inbound import SAID, check_full
from bench_world import call, cpu_s, database, fill_practice, kannel_call, service_at

GROUPS = Path("/sys/fs/cgroup/cpu")
# Short, so that a process that has used up its share does not sleep for long.
PERIOD_US = 20_000


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


@contextmanager
def cpu_group(cores: float, number: int) -> Iterator[Path]:
    """A control group whose processes may use so many cores in all; removed afterwards."""
    group = GROUPS / f"rungwise-bench-{os.getpid()}-{number}"
    try:
        group.mkdir()
    except OSError as problem:
        sys.exit(
            f"No control group can be made in {GROUPS} ({problem.strerror}). Run this as root, on "
            "a machine whose control groups are of version 1, or leave --cores-each away."
        )
    try:
        (group / "cpu.cfs_period_us").write_text(str(PERIOD_US))
        (group / "cpu.cfs_quota_us").write_text(str(round(cores * PERIOD_US)))
        yield group
    finally:
        group.rmdir()


def limited(stack: ExitStack, url: str, cores: float | None, number: int) -> tuple[int, int]:
    """A process of the service with so much of a core; gives its port and process id."""
    if cores is None:
        return stack.enter_context(service_at(url))
    group = stack.enter_context(cpu_group(cores, number))
    port, pid = stack.enter_context(service_at(url))
    (group / "cgroup.procs").write_text(str(pid))
    return port, pid


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
    parser.add_argument("--cores-each", type=float, help="of a core for each process, as 0.25")
    given = parser.parse_args()
    if given.cores_each is not None and not 0.05 <= given.cores_each <= 1:
        parser.error("--cores-each takes a share of a core from 0.05 to 1.")
    runs = 2 * (given.rounds + 1)
    ratios: list[float] = []
    cpu_ratios: list[float] = []
    with database("postgres") as url, ExitStack() as stack:
        phones = fill_practice(url, given.replies * runs, given.days)
        servers = [limited(stack, url, given.cores_each, number) for number in range(2)]
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
    cores = "" if given.cores_each is None else f" with {given.cores_each} cores for each"
    print(
        f"two processes do {median(ratios):.2f} x one ({min(ratios):.2f} to {max(ratios):.2f}) on "
        f"this machine{cores}; by the CPU time they need for a reply, with a core for each, "
        f"{median(cpu_ratios):.2f} x ({min(cpu_ratios):.2f} to {max(cpu_ratios):.2f})"
    )


if __name__ == "__main__":
    main()
