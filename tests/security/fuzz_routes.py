"""Calls every route of a small practice for as long as one likes; exits 1 at what breaks.

    python tests/security/fuzz_routes.py --examples 200 --seed 7

Each operation gets that many valid made-up calls, and half as many invalid and signed out. `--api`
calls the JSON API instead, and holds each answer to its description.
"""

import argparse
import sys
import tempfile
import warnings
from pathlib import Path

from tqdm import tqdm

sys.path[:0] = [str(Path(__file__).parents[1] / name) for name in ("web", "security", "")]

from fuzzing import Found, Fuzzed, make_fuzzed  # noqa: E402
from fuzzing_api import Called, make_called  # noqa: E402


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--examples", type=int, default=50)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--only", default="", help="only paths that hold this")
    parser.add_argument("--api", action="store_true", help="the JSON API instead of the pages")
    options = parser.parse_args()
    warnings.simplefilter("ignore")
    found = 0
    with tempfile.TemporaryDirectory() as folder:
        fuzzed: Fuzzed | Called = (
            make_called(Path(folder)) if options.api else make_fuzzed(Path(folder), options.seed)
        )
        operations = [one for one in fuzzed.operations() if options.only in one.path]
        for operation in tqdm(operations, file=sys.stderr, leave=False, unit=" routes"):
            try:
                fuzzed.attack(operation, options.examples, options.seed)
            except (Found, BaseExceptionGroup) as problem:
                found += 1
                tqdm.write(str(problem), file=sys.stdout)
        fuzzed.world.store.close()
    statuses = ", ".join(f"{code}: {many}" for code, many in sorted(fuzzed.statuses.items()))
    calls = sum(fuzzed.statuses.values())
    print(f"{calls} calls of {len(operations)} operations ({statuses}); {found} failed.")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
