"""How long a full ladder, a drawing and its PNG take: `python tests/ladder/bench_ladder.py`.

Prints the median and the slowest of many, in milliseconds, on one core.
"""

import argparse
import statistics
import time
from collections.abc import Callable

from ladder_cases import FULL_HOME, MEAN_WOMAN

from rungwise.ladder import Limits, Narrowing, build_ladder, keep_place, svg
from rungwise.wording.rung_words import rung_picture, rung_text


def timed(name: str, work: Callable[[], object], runs: int) -> None:
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        times.append((time.perf_counter() - start) * 1000)
    print(f"{name:<42}{statistics.median(times):>9.2f}{max(times):>9.2f}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=200)
    runs = parser.parse_args().runs
    full = build_ladder(MEAN_WOMAN, FULL_HOME, Limits())
    finest = Narrowing(5, one_foot=True, later_narrow_mm=5)
    fine = build_ladder(MEAN_WOMAN, FULL_HOME, Limits(), finest)
    rung = full["firm/tandem/hover"]
    drawn = rung_picture(rung, MEAN_WOMAN)
    gone = "mat4/back/semi_tandem/o35/hover"
    print(f"{'':<42}{'median':>9}{'slowest':>9}  ms")
    timed(
        f"full ladder, {len(full)} rungs",
        lambda: build_ladder(MEAN_WOMAN, FULL_HOME, Limits()),
        runs,
    )
    timed(
        f"full ladder at the finest step, {len(fine)} rungs",
        lambda: build_ladder(MEAN_WOMAN, FULL_HOME, Limits(), finest),
        runs,
    )
    timed("keep a place that is gone", lambda: keep_place(None, gone, full), runs)
    timed("client text", lambda: rung_text(rung, MEAN_WOMAN), runs)
    timed("drawing", lambda: rung_picture(rung, MEAN_WOMAN), runs)
    timed("PNG of a drawing", lambda: svg.png(drawn), min(runs, 50))


if __name__ == "__main__":
    main()
