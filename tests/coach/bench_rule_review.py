"""How long the rule review takes, and how much memory, on one core.

    python tests/coach/bench_rule_review.py [clients [days [preset]]]

The goal: 1,000 clients for 365 days in under 60 s, with memory that doesn't grow with clients.
First the same settings: nothing may differ. Then the preset.
"""

import resource
import sys
from pathlib import Path
from tempfile import TemporaryDirectory
from time import perf_counter, process_time

from sqlmodel import SQLModel

from rungwise.coach.rule.rule_review import RuleReview, review_rule
from rungwise.coach.rule.rule_trial import TrialSettings
from rungwise.store import Store

sys.path.insert(0, str(Path(__file__).parents[1]))

from stored_practice import lives, store_clients, store_practice

DIFFERENT_LIVES = 40


def main(clients: int = 1000, days: int = 365, preset: str = "gentle") -> None:
    with TemporaryDirectory() as folder:
        store = Store(f"sqlite:///{Path(folder) / 'bench.sqlite3'}")
        SQLModel.metadata.create_all(store.engine)
        begun = perf_counter()
        with store.write() as session:
            trainer = store_practice(session)
        ids = store_clients(store, trainer, lives(min(DIFFERENT_LIVES, clients), days), clients)
        print(f"stored {clients} clients x {days} days in {perf_counter() - begun:.0f} s")
        for name in ("usual", preset):
            review(store, ids, name)
        store.close()


def review(store: Store, ids: list[int], preset: str) -> None:
    total = RuleReview()
    begun, worked = perf_counter(), process_time()
    early_mb = 0.0
    for number, one in enumerate(review_rule(store, ids, TrialSettings(preset))):
        total.add(one)
        if number == len(ids) // 10:
            early_mb = memory_mb()
    took, cpu = perf_counter() - begun, process_time() - worked
    print(
        f"{preset}: {total.clients} clients, {total.decisions:,} decisions in {took:.1f} s "
        f"({cpu:.1f} s of one core), {total.changed.total():,} would differ; "
        f"memory {early_mb:.0f} MB after a tenth, {memory_mb():.0f} MB at the end"
    )
    print("  " + "\n  ".join(total.sentences(f"the {preset} preset")))
    if preset == "usual":
        assert not total.changed, "the same settings must decide the same"


def memory_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


if __name__ == "__main__":
    given = sys.argv[1:]
    main(*[int(one) for one in given[:2]], *given[2:])
