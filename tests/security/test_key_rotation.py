"""Changing keys: with the service running, killed in between, and for the first time."""

from datetime import UTC, datetime, timedelta

import pytest
from planting import AT, all_planted, dump, expected, plant, raw, read_back
from sealed_world import NEW, OLD
from sqlalchemy import text
from sqlmodel import select

from rungwise.cli import main
from rungwise.coach.record.audit import record_by_service
from rungwise.store import Store
from rungwise.store.moving.migrate import migrate
from rungwise.store.sealing import rotation
from rungwise.store.sealing.crypto import Key, Unreadable, Vault, put_vault
from rungwise.store.sealing.rotation import NoKey, OldKeyInUse, Rotation, StillRunning, is_running
from rungwise.store.sealing.unlocking import HalfSealed, KeyMissing, Sealing, unlock, vault_from
from rungwise.store.tables import Client, LastTick, Message, Practice, Trainer

pytestmark = pytest.mark.both_databases

FEW = 12


def rotate(place: str, *keys: Key, thorough: bool = False) -> int:
    store = Store(place)
    turning = Rotation(store, keys, thorough)
    try:
        turning.prepare()
        return turning.run(lambda _: None)
    finally:
        store.close()


def opened(place: str, *keys: Key) -> Store:
    store = Store(place)
    try:
        unlock(store, keys)
    except Exception:
        store.close()
        raise
    return store


def reads_as_planted(place: str, *keys: Key) -> None:
    store = opened(place, *keys)
    with store.read() as session:
        assert read_back(session) == expected()
        number = session.exec(select(Client)).one().phone
        assert session.exec(select(Client).where(Client.phone == number)).first() is not None
    store.close()


def more_texts(store: Store, many: int) -> None:
    with store.write() as session:
        for number in range(many):
            session.add(
                Message(
                    practice_id=1,
                    direction="in",
                    kind="reply",
                    body=f"Quincetree {number}",
                    from_phone="+12025550111",
                    to_phone="+12025550100",
                    carrier="handset",
                    carrier_id=f"m{number}",
                    state="read",
                    created_at=AT,
                )
            )


@pytest.fixture
def small_batches(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(rotation, "BATCH", FEW // 3)


@pytest.mark.usefixtures("small_batches")
@pytest.mark.parametrize("thorough", [False, True])
def test_everything_moves_to_the_new_key(
    sealed: Store, place: str, old: Key, new: Key, thorough: bool
) -> None:
    with sealed.write() as session:
        plant(session)
    more_texts(sealed, FEW)
    numbers = raw(sealed, "client", "phone")
    assert rotate(place, new, old, thorough=thorough) > FEW
    reads_as_planted(place, new)
    with pytest.raises(KeyMissing):
        opened(place, old)
    # Numbers are found by another key after a thorough change only.
    assert (raw(sealed, "client", "phone") == numbers) is not thorough
    assert rotate(place, new) == 0
    with sealed.engine.connect() as connection:
        left = connection.execute(text("SELECT body FROM message")).scalars().all()
    assert all(Vault([new], b"x" * 64).look(body, b"message.body") for body in left)
    assert all(Vault([old], b"x" * 64).look(body, b"message.body") is None for body in left)


def test_a_running_process_reads_on_while_keys_change(
    sealed: Store, place: str, old: Key, new: Key
) -> None:
    """As the runbook has it: every process knows both keys, then the rotation runs."""
    with sealed.write() as session:
        plant(session)
    running = opened(place, new, old)
    turning_store = Store(place)
    turning = Rotation(turning_store, [new, old])
    turning.prepare()
    seen = []

    def shown(_looked: int) -> None:
        with running.read() as session:
            seen.append(read_back(session) == expected())

    turning.run(shown)
    turning_store.close()
    assert len(seen) > 5
    assert all(seen)
    more_texts(running, 2)
    reads_as_planted(place, new)
    running.close()


@pytest.mark.usefixtures("small_batches")
def test_a_first_sealing_killed_at_any_batch_is_finished_by_the_next(place: str, old: Key) -> None:
    store = Store(place)
    with store.write() as session:
        plant(session)
    more_texts(store, FEW)
    for stop_after in (1, 4, 9):
        turning = Rotation(store, [old])
        turning.prepare()
        left = stop_after

        def shown(_looked: int) -> None:
            nonlocal left
            left -= 1
            if left == 0:
                raise KeyboardInterrupt

        with pytest.raises(KeyboardInterrupt):
            turning.run(shown)
        # Half sealed, numbers could not be matched to people: nothing starts on it.
        for keys in ([old], []):
            with pytest.raises(HalfSealed, match=r"keys rotate"):
                opened(place, *keys)
    rotate(place, old)
    reads_as_planted(place, old)
    store.close()


def test_a_first_sealing_leaves_nothing_in_clear_behind(place: str, old: Key) -> None:
    store = Store(place)
    with store.write() as session:
        plant(session)
    more_texts(store, 60)
    with store.write() as session:
        session.execute(text("DELETE FROM message WHERE id % 2 = 0"))
    store.close()
    rotate(place, old)
    again = opened(place, old)
    held = dump(again)
    for words in [*all_planted(), "Quincetree", "12025550"]:
        assert words.encode() not in held, words
    again.close()
    reads_as_planted(place, old)


def test_it_says_so_when_the_service_is_running(sealed: Store, place: str, old: Key) -> None:
    with sealed.write() as session:
        plant(session)
        session.get_one(LastTick, "last_tick.name").at = datetime.now(UTC) - timedelta(seconds=30)
    assert is_running(sealed)
    store = Store(place)
    with pytest.raises(StillRunning, match=r"Stop it everywhere"):
        Rotation(store, [old], thorough=True).prepare()
    Rotation(store, [old]).prepare()
    with store.write() as session:
        session.get_one(LastTick, "last_tick.name").at = datetime.now(UTC) - timedelta(minutes=2)
    Rotation(store, [old], thorough=True).prepare()
    store.close()


def test_no_key_and_a_wrong_key_change_nothing(sealed: Store, place: str, new: Key) -> None:
    with sealed.write() as session:
        plant(session)
    before = raw(sealed, "message", "body")
    with pytest.raises(NoKey):
        rotate(place)
    with pytest.raises(KeyMissing):
        rotate(place, new)
    assert raw(sealed, "message", "body") == before


def test_a_process_that_still_uses_the_old_key_is_noticed(
    sealed: Store, place: str, old: Key, new: Key
) -> None:
    with sealed.write() as session:
        plant(session)
    store = Store(place)
    turning = Rotation(store, [new, old])
    turning.prepare()
    put_vault(store.engine, turning.vault)
    passes = 0
    one_pass = turning._pass

    def and_an_old_process_writes(shown) -> int:
        nonlocal passes
        changed = one_pass(shown)
        more_texts_with(sealed, passes)
        passes += 1
        return changed

    turning_pass = type(turning)._pass
    try:
        type(turning)._pass = lambda _self, shown: and_an_old_process_writes(shown)
        one_pass = turning_pass.__get__(turning)
        with pytest.raises(OldKeyInUse, match=r"Restart them all"):
            turning.run(lambda _: None)
    finally:
        type(turning)._pass = turning_pass
    # Nothing is lost: both keys are still asked for, and the next run finishes it.
    with sealed.read() as session:
        assert set(session.get_one(Sealing, 1).key_ids) == {old.name, new.name}
    store.close()
    rotate(place, new, old)
    reads_as_planted(place, new)


def more_texts_with(store: Store, which: int) -> None:
    with store.write() as session:
        session.add(
            Message(
                practice_id=1,
                direction="in",
                kind="reply",
                body="late",
                from_phone="+1",
                to_phone="+1",
                carrier="handset",
                carrier_id=f"late{which}",
                state="read",
                created_at=AT,
            )
        )


def test_a_value_of_an_unknown_key_is_not_buried_under_another(
    sealed: Store, place: str, old: Key, new: Key
) -> None:
    with sealed.write() as session:
        plant(session)
    stray = Vault([Key("d" * 42 + "A")], b"x" * 64).seal("I fell", b"message.body")
    with sealed.write() as session:
        session.execute(text("UPDATE message SET body = :body"), {"body": stray})
    with pytest.raises(Unreadable):
        rotate(place, new, old)
    assert raw(sealed, "message", "body") == [stray]


def test_a_clients_text_that_looks_sealed_is_kept_as_words(place: str, old: Key) -> None:
    """Sent while there was no key, to make the first sealing trip over it."""
    store = Store(place)
    hostile = Vault([Key("d" * 42 + "A")], b"x" * 64).seal("x", b"message.body")
    with store.write() as session:
        plant(session)
        session.exec(select(Message)).one().body = hostile
    store.close()
    rotate(place, old)
    again = opened(place, old)
    with again.read() as session:
        assert session.exec(select(Message)).one().body == hostile
    again.close()


# --- from before values were bound to their columns -----------------------------------------------


def make_loose(store: Store, key: Key) -> None:
    """The database as it was sealed before values were bound to their columns."""
    with store.write() as session:
        row = session.get_one(Sealing, 1)
        row.bound = False
        session.add(row)
    put_vault(store.engine, vault_from(row, [key]))


@pytest.mark.parametrize("interrupted", [False, True])
def test_values_from_before_are_read_and_brought_over(
    place: str, old: Key, interrupted: bool
) -> None:
    store = opened(place, old)
    make_loose(store, old)
    with store.write() as session:
        plant(session)
    (phone,), (body,) = raw(store, "client", "phone"), raw(store, "message", "body")
    assert (phone[:2], body[:2]) == ("~2", "~1")
    store.close()
    reads_as_planted(place, old)  # the service goes on as before until the command is run

    if interrupted:
        turning_store = Store(place)
        turning = Rotation(turning_store, [old])
        turning.prepare()

        def stop(_looked: int) -> None:
            raise KeyboardInterrupt

        with pytest.raises(KeyboardInterrupt):
            turning.run(stop)
        turning_store.close()
        with pytest.raises(HalfSealed):
            opened(place, old)
    rotate(place, old)
    reads_as_planted(place, old)
    store = Store(place)
    (now_phone,), (now_body,) = raw(store, "client", "phone"), raw(store, "message", "body")
    assert (now_phone[:2], now_body[:2]) == ("~4", "~3")
    # A value copied in from a backup of before is bound to nothing, and refused.
    with store.write() as session:
        session.execute(text("UPDATE message SET body = :body"), {"body": body})
    store.close()
    store = opened(place, old)
    with store.read() as session, pytest.raises(Unreadable):
        session.exec(select(Message)).one()
    store.close()


# --- the command ----------------------------------------------------------------------------------


@pytest.fixture
def file(tmp_path, monkeypatch: pytest.MonkeyPatch) -> str:
    url = f"sqlite:///{tmp_path / 'practice.sqlite3'}"
    store = Store(url)
    migrate(store)
    with store.write() as session:
        session.add(Practice(name="Harbour Balance", phone="+12025550100", created_at=AT))
        session.flush()
        record_by_service(session, AT, 1, "practice added")
        session.add(
            Trainer(
                practice_id=1,
                name="Tess Example",
                email="t@example.org",
                password_hash="-",
                created_at=AT,
            )
        )
    store.close()
    monkeypatch.setenv("RUNGWISE_DATABASE_URL", url)
    monkeypatch.delenv("RUNGWISE_DATA_KEYS", raising=False)
    return url


def test_from_no_key_to_one_to_another_by_command(
    file: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["keys", "show"]) == 0
    assert "no key, it is not sealed" in capsys.readouterr().out
    assert main(["keys", "rotate"]) == 2
    assert "rungwise keys make" in capsys.readouterr().err
    assert main(["keys", "make"]) == 0
    made = capsys.readouterr().out.strip()

    monkeypatch.setenv("RUNGWISE_DATA_KEYS", made)
    assert main(["audit", "verify"]) == 2
    assert "rungwise keys rotate" in capsys.readouterr().err
    assert main(["keys", "rotate"]) == 0
    told = capsys.readouterr()
    assert "2 of 2 rows changed" in told.out
    assert "Sealing" in told.err  # the progress bar
    assert main(["audit", "verify"]) == 0
    assert "Harbour Balance: whole" in capsys.readouterr().out

    monkeypatch.setenv("RUNGWISE_DATA_KEYS", f"{NEW} {made}")
    assert main(["keys", "rotate", "--thorough"]) == 0
    assert "Take the other keys out" in capsys.readouterr().out
    monkeypatch.setenv("RUNGWISE_DATA_KEYS", NEW)
    assert main(["keys", "show"]) == 0
    assert Key(NEW).name in capsys.readouterr().out
    for wrong in (made, OLD):
        monkeypatch.setenv("RUNGWISE_DATA_KEYS", wrong)
        assert main(["client", "list"]) == 2
        assert f"sealed with the data key {Key(NEW).name}" in capsys.readouterr().err
