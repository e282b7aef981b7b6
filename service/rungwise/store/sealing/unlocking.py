"""Whether a database is sealed, with which keys, and opening it with them."""

from collections.abc import Sequence

from sqlalchemy import JSON, Text
from sqlmodel import Field, Session, SQLModel, select

from rungwise.errors import ServiceError
from rungwise.settings import Settings
from rungwise.store.database import Pool, Store
from rungwise.store.moving.migrate import check_current
from rungwise.store.sealing.crypto import (
    Key,
    Vault,
    keys_from,
    make_audit_key,
    make_numbers_key,
    put_vault,
    unwrap,
)
from rungwise.store.tables import AuditHead, Practice

SETTING = "RUNGWISE_DATA_KEYS"


class Sealing(SQLModel, table=True):
    """Only a sealed database has a row: the keys in use, and the numbers' and the audit trail's
    keys, themselves sealed; of the latter the newest first, and old ones stay.

    `whole` is False while a database with people in it is being sealed for the first time, or its
    values are being bound to their columns; `bound` is False until they are.
    """

    id: int = Field(default=1, primary_key=True)
    key_ids: list[str] = Field(sa_type=JSON)
    numbers_key: str = Field(sa_type=Text)
    whole: bool = True
    audit_keys: list[str] = Field(default_factory=list, sa_type=JSON)
    bound: bool = True


class KeyMissing(ServiceError):
    """The database is sealed, and the keys given do not fit it."""

    def __init__(self, needed: Sequence[str], given: Sequence[Key]) -> None:
        names = ", ".join(needed)
        have = ", ".join(key.name for key in given)
        told = f"{SETTING} holds {have}" if have else f"{SETTING} is not set"
        super().__init__(
            f"The database is sealed with the data key {names}, but {told}. Set {SETTING} to that "
            f"key, or add it there after the newest, and start again."
        )


class NotSealedYet(ServiceError):
    """A data key is set, but the database was made without one. Stop the service everywhere, run
    `rungwise keys rotate`, and start again.
    """


class HalfSealed(ServiceError):
    """The sealing of this database was cut off. With the same RUNGWISE_DATA_KEYS as then, run
    `rungwise keys rotate` again, and start the service after it.
    """


def open_store(settings: Settings, database: str | None = None) -> Store:
    """The store that the settings name, its tables checked and unlocked with their keys.

    OlderDatabase, NewerDatabase, KeyMissing, NotSealedYet or HalfSealed when it cannot be used.
    """
    pool = Pool(settings.database_connections, settings.database_connections_more)
    store = Store(database or settings.database_url, pool)
    try:
        check_current(store)
        unlock(store, keys_from(settings.data_keys))
    except Exception:
        store.close()
        raise
    return store


def unlock(store: Store, keys: Sequence[Key]) -> None:
    """Give the store its vault; an empty database is sealed from here on if there is a key."""
    with store.read() as session:
        row = session.get(Sealing, 1)
        needs_note = bool(keys) and (
            row is None or keys[0].name not in row.key_ids or not row.audit_keys
        )
    if needs_note:
        row = store.run(lambda session: _note_first_key(session, keys))
    if row is None:
        return
    if not row.whole:
        # Half of the numbers could not be found: somebody's text would be a stranger's.
        raise HalfSealed
    put_vault(store.engine, vault_from(row, keys))


def vault_from(row: Sealing, keys: Sequence[Key], *, loose: bool = False) -> Vault:
    """KeyMissing unless every key that the database may need is there."""
    here = {key.name for key in keys}
    missing = [name for name in row.key_ids if name not in here]
    numbers_key = unwrap(row.numbers_key, keys)
    audit_keys = [unwrap(wrapped, keys) for wrapped in row.audit_keys]
    opened = [key for key in audit_keys if key is not None]
    if missing or numbers_key is None or len(opened) < len(audit_keys):
        raise KeyMissing(missing or row.key_ids, keys)
    return Vault(keys, numbers_key, opened, bound=row.bound, loose=loose)


def add_audit_key(session: Session, row: Sealing, keys: Sequence[Key]) -> None:
    """Hash the trail with a new key from here on; its end, as it stands, is keyed at once."""
    row.audit_keys = [keys[0].wrap(make_audit_key()), *row.audit_keys]
    vault = vault_from(row, keys)
    for head in session.exec(select(AuditHead)).all():
        # One that did not fit before must not fit for being keyed.
        if head.mac == vault.audit_hash(head.key, head.words):
            head.key = vault.audit_key
            head.mac = vault.audit_hash(head.key, head.words) or ""
            session.add(head)


def _note_first_key(session: Session, keys: Sequence[Key]) -> Sealing:
    """Before anything is sealed with a key, its id is written down."""
    row = session.get(Sealing, 1, with_for_update=True)
    if row is None:
        if session.exec(select(Practice.id).limit(1)).first() is not None:
            raise NotSealedYet
        row = Sealing(key_ids=[], numbers_key=keys[0].wrap(make_numbers_key()))
    else:
        vault_from(row, keys)
    if keys[0].name not in row.key_ids:
        row.key_ids = [keys[0].name, *row.key_ids]
    if not row.audit_keys:
        add_audit_key(session, row, keys)
    session.add(row)
    return row
