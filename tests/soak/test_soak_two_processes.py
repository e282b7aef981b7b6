"""Two server processes on one real PostgreSQL, killed in the middle of it."""

import pytest
from soak_run import Plan, Soak
from stores import empty


@pytest.mark.postgres
def test_two_processes_on_one_postgresql_lose_nothing_and_double_nothing(postgres_store, tmp_path):
    plan = Plan(
        clients=30,
        kills=5,
        seed=11,
        processes=2,
        days=1,
        speed=20,
        thinks_s=60,
        lives=15,
        lives_s=2.0,
        texts_per_second=1,
        show=False,
    )
    try:
        told = Soak(postgres_store.url, tmp_path, plan).run()
    finally:
        empty(postgres_store)
    assert told.broken == []
    assert told.kills >= 5
    # What was on its way when a process died may be unknown; most was not.
    assert told.counts["prompts"] >= 5
    assert told.counts["answered"] >= 5
