"""Sealed databases: what a copy of one gives away, and which keys open it."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from planting import AT, all_planted, dump, expected, plant, raw, read_back
from sealed_world import NEW, OLD, OTHER
from sqlalchemy import Text, create_engine, text
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, SQLModel, select

from rungwise.settings import Settings, WrongSetting
from rungwise.store import Store
from rungwise.store.sealing.crypto import (
    InClear,
    Key,
    NotInSql,
    Sealed,
    SealedJSON,
    Unreadable,
    Vault,
    in_clear,
    keys_from,
    make_key,
    make_numbers_key,
    unwrap,
)
from rungwise.store.sealing.rotation import sealed_tables
from rungwise.store.sealing.unlocking import KeyMissing, NotSealedYet, Sealing, unlock
from rungwise.store.tables import Client, Message, Practice, Screening, Trainer

pytestmark = pytest.mark.both_databases


def test_a_copy_of_a_sealed_database_holds_no_name_number_or_word(sealed: Store) -> None:
    with sealed.write() as session:
        plant(session)
    held = dump(sealed)
    assert len(held) > 5_000
    for words in [*all_planted(), "Quincetree", "12025550"]:
        assert words.encode() not in held, words
    with sealed.read() as session:
        assert read_back(session) == expected()


def test_without_keys_the_same_search_finds_every_word(place: str) -> None:
    """The test above would see them: without keys each stands there in clear."""
    store = Store(place)
    with store.write() as session:
        plant(session)
    held = dump(store)
    assert [words for words in all_planted() if words.encode() not in held] == []
    with store.read() as session:
        assert read_back(session) == expected()
    store.close()


def test_without_keys_the_types_do_nothing_at_all(place: str) -> None:
    """No cost: the database gets and gives the very values, through no function of ours."""
    store = Store(place)
    for _, columns in sealed_tables():
        for column in columns:
            kind = column.type.dialect_impl(store.engine.dialect)
            plain = (Text() if isinstance(column.type, Sealed) else SealedJSON.impl()).dialect_impl(
                store.engine.dialect
            )
            for ours, theirs in (
                (
                    kind.bind_processor(store.engine.dialect),
                    plain.bind_processor(store.engine.dialect),
                ),
                (
                    kind.result_processor(store.engine.dialect, None),
                    plain.result_processor(store.engine.dialect, None),
                ),
            ):
                assert getattr(ours, "__qualname__", None) == getattr(theirs, "__qualname__", None)
    store.close()


def test_people_are_found_by_number_and_address(sealed: Store) -> None:
    with sealed.write() as session:
        plant(session)
    with sealed.read() as session:
        client = session.exec(select(Client)).one()
        assert session.exec(select(Client).where(Client.phone == client.phone)).all() == [client]
        assert session.exec(select(Client).where(Client.phone == "+12025550999")).all() == []
        trainer = session.exec(select(Trainer)).one()
        found = select(Trainer).where(Trainer.email == trainer.email)
        assert session.exec(found).all() == [trainer]
    stored = raw(sealed, "client", "phone")[0]
    with sealed.read() as session:
        twin = Client(**session.exec(select(Client)).one().model_dump(exclude={"id"}))
    with pytest.raises(IntegrityError), sealed.write() as session:
        session.add(twin)
    assert raw(sealed, "client", "phone") == [stored]


def test_the_same_words_are_never_stored_alike(sealed: Store) -> None:
    with sealed.write() as session:
        plant(session)
        twin = (
            session.exec(select(Message)).one().model_dump(exclude={"id", "once_key", "carrier_id"})
        )
        session.add(Message(**twin))
    first, second = raw(sealed, "message", "body")
    assert first != second
    with sealed.read() as session:
        assert len({message.body for message in session.exec(select(Message))}) == 1


# --- which keys open it ---------------------------------------------------------------------------


def test_a_wrong_or_missing_key_refuses_with_a_sentence(
    sealed: Store, place: str, old: Key
) -> None:
    with sealed.write() as session:
        plant(session)
    for keys in ([], [Key(NEW)], [Key(NEW), Key(OTHER)]):
        again = Store(place)
        with pytest.raises(KeyMissing) as refused:
            unlock(again, keys)
        again.close()
        told = str(refused.value)
        assert old.name in told
        assert "RUNGWISE_DATA_KEYS" in told
        assert told.endswith(".")
        assert not any(secret in told for secret in (OLD, NEW, OTHER))


def test_the_right_key_opens_it_in_any_place_of_the_list(sealed: Store, place: str) -> None:
    with sealed.write() as session:
        plant(session)
    for setting in (OLD, f"{NEW} {OLD}", f"{OLD},{NEW}", f"{NEW}\n{OTHER},\n{OLD}"):
        again = Store(place)
        unlock(again, keys_from(setting))
        with again.read() as session:
            assert read_back(session) == expected()
        again.close()


def test_a_database_with_people_in_it_is_not_half_sealed(place: str, old: Key) -> None:
    store = Store(place)
    with store.write() as session:
        plant(session)
    with pytest.raises(NotSealedYet, match=r"rungwise keys rotate"):
        unlock(store, [old])
    with store.read() as session:
        assert session.get(Sealing, 1) is None
    store.close()


def test_two_processes_may_start_at_once_on_an_empty_database(place: str, old: Key) -> None:
    first, second = Store(place), Store(place)
    unlock(first, [old])
    unlock(second, [old])
    with first.write() as session:
        session.add(Practice(name="Harbour Balance", phone="+12025550100", created_at=AT))
    with second.read() as session:
        assert session.exec(select(Practice)).one().name == "Harbour Balance"
    first.close()
    second.close()


def test_a_value_sealed_with_an_unknown_key_is_an_error_and_no_nonsense(sealed: Store) -> None:
    stranger = Vault([Key(OTHER)], make_numbers_key())
    with sealed.write() as session:
        plant(session)
        session.execute(
            text("UPDATE message SET body = :body"),
            {"body": stranger.seal("I fell", b"message.body")},
        )
    with sealed.read() as session, pytest.raises(Unreadable, match=r"RUNGWISE_DATA_KEYS"):
        session.exec(select(Message)).one()


def test_a_changed_letter_is_noticed(sealed: Store) -> None:
    with sealed.write() as session:
        plant(session)
    (stored,) = raw(sealed, "message", "body")
    other = "A" if stored[-9] != "A" else "B"
    with sealed.write() as session:
        session.execute(
            text("UPDATE message SET body = :body"), {"body": stored[:-9] + other + stored[-8:]}
        )
    with sealed.read() as session, pytest.raises(Unreadable):
        session.exec(select(Message)).one()


# --- bound to its column --------------------------------------------------------------------------


def test_a_value_moved_to_another_column_does_not_open(sealed: Store) -> None:
    with sealed.write() as session:
        plant(session)
        session.execute(text("UPDATE message SET body = from_phone"))
    with sealed.read() as session, pytest.raises(Unreadable):
        session.exec(select(Message)).one()
    with sealed.write() as session:
        session.execute(text("UPDATE client SET phone = (SELECT phone FROM practice)"))
    with sealed.read() as session, pytest.raises(Unreadable):
        session.exec(select(Client)).one()


def test_words_in_clear_in_a_sealed_column_are_refused(sealed: Store) -> None:
    with sealed.write() as session:
        plant(session)
        session.execute(text("UPDATE message SET body = 'I am fine'"))
    with sealed.read() as session, pytest.raises(InClear, match="written by hand"):
        session.exec(select(Message)).one()
    with sealed.write() as session:
        session.execute(text("UPDATE screening SET answers = '{}'"))
    with sealed.read() as session, pytest.raises(InClear):
        session.exec(select(Screening)).one()


# --- the settings ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "keys", ["short", OLD[:-1], OLD + "A", OLD + NEW, f"{OLD} x", "é" * 43, ""]
)
def test_a_key_that_is_none_stops_the_start(keys: str) -> None:
    with pytest.raises(WrongSetting, match=r"rungwise keys make") as refused:
        Settings.from_environment({"RUNGWISE_DATA_KEYS": keys})
    assert OLD not in str(refused.value)


def test_a_misspelt_name_does_not_leave_the_database_open() -> None:
    with pytest.raises(WrongSetting, match=r"RUNGWISE_DATA_KEY\b"):
        Settings.from_environment({"RUNGWISE_DATA_KEY": OLD})


def test_keys_may_come_from_a_file_and_are_not_shown(tmp_path: Path) -> None:
    file = tmp_path / "keys"
    file.write_text(f"{NEW}\n{OLD}\n")
    settings = Settings.from_environment({"RUNGWISE_DATA_KEYS_FILE": str(file)})
    assert [key.name for key in keys_from(settings.data_keys)] == [Key(NEW).name, Key(OLD).name]
    assert NEW not in repr(settings)
    assert OLD not in str(settings)


def test_a_made_key_is_taken_by_the_settings() -> None:
    made = make_key()
    settings = Settings.from_environment({"RUNGWISE_DATA_KEYS": made})
    assert keys_from(settings.data_keys)[0].name == Key(made).name
    assert make_key() != made


# --- the pieces -----------------------------------------------------------------------------------

VAULT = Vault([Key(NEW), Key(OLD)], b"n" * 64)
HERE = b"message.body"


@given(st.text())
def test_words_come_back_as_they_were(words: str) -> None:
    assert VAULT.open(VAULT.seal(words, HERE), HERE) == words
    assert VAULT.open(VAULT.seal_findable(words, HERE), HERE) == words
    assert VAULT.seal_findable(words, HERE) == VAULT.seal_findable(words, HERE)
    assert VAULT.seal(words, HERE) != VAULT.seal(words, HERE)


@given(st.text(), st.text())
def test_different_words_are_found_apart(one: str, other: str) -> None:
    sealed_one, sealed_other = VAULT.seal_findable(one, HERE), VAULT.seal_findable(other, HERE)
    assert (sealed_one == sealed_other) == (one == other)


@given(st.text() | st.text("~1234AZaz_-=", max_size=90))
def test_whatever_was_not_sealed_by_us_is_refused_and_never_crashes(stored: str) -> None:
    with pytest.raises((Unreadable, InClear)):
        VAULT.open(stored, HERE)


def test_what_was_sealed_for_one_purpose_opens_for_no_other() -> None:
    key = Key(NEW)
    wrapped = key.wrap(b"secret")
    assert unwrap(wrapped, [Key(OLD), key]) == b"secret"
    assert unwrap(wrapped, [Key(OLD)]) is None
    with pytest.raises(Unreadable):
        VAULT.open("~3" + wrapped, HERE)


def test_keyed_hashes_differ_by_database() -> None:
    other = Vault([Key(NEW)], make_numbers_key())
    assert VAULT.blind("+12025550100") == VAULT.blind("+12025550100")
    assert VAULT.blind("+12025550100") != other.blind("+12025550100")
    number = "+12025550100"
    assert VAULT.seal_findable(number, HERE) != other.seal_findable(number, HERE)


@pytest.mark.parametrize(
    "compare",
    [
        lambda: Message.body == "20 steady",
        lambda: Client.name != "Ada",
        lambda: Client.name.like("A%"),
        lambda: Client.name.in_(["Ada"]),
        lambda: Client.name.icontains("a"),
        Client.name.desc,
        lambda: Client.phone > "+1",
        lambda: Client.phone.startswith("+1"),
        lambda: Message.from_phone == Client.phone,
    ],
)
def test_what_a_sealed_database_could_not_find_is_a_mistake_at_once(compare) -> None:
    """With and without keys, so that nobody's text goes unmatched the day keys are set."""
    with pytest.raises(NotInSql):
        compare()


def test_what_it_can_answer_is_allowed() -> None:
    for asked in (
        Message.problem.is_(None),
        Client.phone == "+12025550100",
        Client.phone.in_(["+12025550100"]),
        Client.consent_wording == None,  # noqa: E711  # as SQL has it
        in_clear(Client.name).icontains("a"),
    ):
        assert asked is not None


def test_json_keeps_its_nothing() -> None:
    engine = create_engine("sqlite://")
    engine.dialect._rungwise_vault = VAULT  # type: ignore[attr-defined]
    SQLModel.metadata.tables["screening"].create(engine)
    kind = SealedJSON().dialect_impl(engine.dialect)
    into, out = kind.bind_processor(engine.dialect), kind.result_processor(engine.dialect, None)
    assert into is not None
    assert out is not None
    for value in ({"a": [1, "é", None]}, [], "words", 0, False, "~1 looks sealed"):
        stored = into(value)
        assert stored.startswith('"~3')
        assert out(stored) == value
    assert out(into(None)) is None
    with Session(engine) as session:
        assert session.get_bind() is engine
