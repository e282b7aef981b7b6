"""How many connections a process may open is the installation's to say."""

import pytest

from rungwise.settings import Settings, WrongSetting
from rungwise.store.database import Pool, Store
from rungwise.store.sealing.unlocking import open_store


@pytest.mark.postgres
def test_a_process_opens_no_more_connections_than_it_may(postgres_store):
    store = Store(postgres_store.url, Pool(kept=1, more=1))
    pool = store.engine.pool
    assert (pool.size(), pool._max_overflow) == (1, 1)
    pool._timeout = 0.05  # instead of half a minute
    with store.read() as one, store.read() as two:
        one.connection(), two.connection()
        with pytest.raises(Exception, match="QueuePool limit"), store.read() as three:
            three.connection()
    with store.read() as again:
        again.connection()
    store.close()


@pytest.mark.postgres
def test_the_settings_say_how_many(postgres_store, monkeypatch):
    monkeypatch.setattr("rungwise.store.sealing.unlocking.check_current", lambda store: None)
    given = {
        "RUNGWISE_DATABASE_URL": postgres_store.url,
        "RUNGWISE_DATABASE_CONNECTIONS": "3",
        "RUNGWISE_DATABASE_CONNECTIONS_MORE": "4",
    }
    store = open_store(Settings.from_environment(given))
    assert (store.engine.pool.size(), store.engine.pool._max_overflow) == (3, 4)
    store.close()


def test_a_process_without_connections_is_refused():
    with pytest.raises(WrongSetting, match="RUNGWISE_DATABASE_CONNECTIONS"):
        Settings.from_environment({"RUNGWISE_DATABASE_CONNECTIONS": "0"})
