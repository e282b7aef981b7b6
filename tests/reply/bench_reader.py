"""How long a reply takes to read: `nice python tests/reply/bench_reader.py [--rounds N]`.

Prints the median time of one reply over every corpus, warm and with no word yet corrected, and
how many times a bare `str.split` with a compiled regular expression takes on the same texts.
"""

import argparse
import json
import re
import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path

from rungwise.reply import Context, read
from rungwise.reply.lexicon import lexicon
from rungwise.reply.lines import context_from
from rungwise.reply.spelling import corrected

CORPUS = Path(__file__).parent / "corpus"
BARE = re.compile(r"\d+(?:\.\d+)?|fell|fall|pain|hurt|dizzy|steady|wobbl|left|right|stop|help")
Reply = tuple[str, Context]


def replies() -> list[Reply]:
    lines = [
        json.loads(line)
        for path in sorted(CORPUS.glob("*.jsonl"))
        for line in path.read_text(encoding="utf-8").splitlines()
    ]
    return [(line["text"], context_from(line.get("context") or {})) for line in lines]


def bare(text: str, _: Context) -> object:
    lowered = text.lower()
    return lowered.split(), BARE.findall(lowered)


def each_us(
    task: Callable[[str, Context], object], corpus: list[Reply], rounds: int
) -> list[float]:
    """The best of `rounds` times for each reply, in microseconds."""
    best = [float("inf")] * len(corpus)
    for _ in range(rounds):
        for index, (text, context) in enumerate(corpus):
            start = time.perf_counter()
            task(text, context)
            best[index] = min(best[index], time.perf_counter() - start)
    return [seconds * 1e6 for seconds in best]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=7)
    rounds = parser.parse_args().rounds
    corpus = replies()
    start = time.perf_counter()
    lexicon("en"), lexicon("es")
    compiled_s = time.perf_counter() - start
    each_us(read, corpus, 1)
    corrected.cache_clear()
    cold = each_us(read, corpus, 1)
    warm = each_us(read, corpus, rounds)
    floor = each_us(bare, corpus, rounds)
    median, plain = statistics.median(warm), statistics.median(floor)
    print(f"{len(corpus)} replies; word lists compiled in {compiled_s:.2f} s")
    print(
        f"warm: median {median:.0f} µs, mean {statistics.fmean(warm):.0f} µs,"
        f" worst {max(warm):.0f} µs"
    )
    print(f"no word corrected yet: median {statistics.median(cold):.0f} µs")
    print(
        f"bare split and scan: median {plain:.1f} µs;"
        f" the reader takes {median / plain:.0f} times that"
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
