"""Every law, for as many random bodies as you like: `soak_ladder.py --bodies N`.

Exits 1 at the first ladder that breaks one, and prints whose it was.
"""

import argparse
import random
import sys

from ladder_cases import random_body, random_home, random_limits, random_narrowing
from ladder_laws import broken_laws
from tqdm import tqdm

from rungwise.ladder import build_ladder, keep_place


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--bodies", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    dice = random.Random(options.seed)
    before, rungs = None, 0
    for _ in tqdm(range(options.bodies), mininterval=5):
        body, home, narrowing = random_body(dice), random_home(dice), random_narrowing(dice)
        limits = random_limits(dice)
        ladder = build_ladder(body, home, limits, narrowing)
        broken = broken_laws(ladder, body, home, limits, narrowing)
        if before is not None:
            key = dice.choice(before.rungs).key
            kept = keep_place(before, key, ladder)
            if kept.key not in ladder or (kept.because is None) != (kept.key == key):
                broken.append(f"{key} was kept as {kept}")
        if broken:
            print(body, home, limits, narrowing, *broken, sep="\n")
            return 1
        before, rungs = ladder, rungs + len(ladder)
    print(f"{options.bodies:,} ladders of {rungs:,} rungs, no law broken")
    return 0


if __name__ == "__main__":
    sys.exit(main())
