"""Sealing what names or quotes a person, so that a copied database file reveals nobody.

With keys, the columns of these types hold ciphertext; without, they are plain columns and nothing
is added to any statement:

- `Sealed` and `SealedJSON`: AES-256-GCM with a nonce of its own for every value. The database can
  neither compare nor sort what it holds, so doing that is refused, with or without keys.
- `Findable`: AES-SIV (RFC 5297). Its first 16 bytes are a keyed hash of the value, so equal values
  of a column are stored alike: looking one up by `==` and unique constraints work, and nothing
  else does.

Each value is bound to its table and column by associated data: moved to another column, it does
not open. Which row it belongs to cannot be bound so, for a new row has no id while its values are
sealed; `rungwise audit verify` finds values that were moved between rows.

Keys belong to a store: its engine's dialect carries the vault, where the types find it.
"""

import base64
import hmac
import json
import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from hashlib import sha256
from operator import eq, ne
from secrets import token_urlsafe
from typing import Any

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM, AESSIV
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from sqlalchemy import JSON, Column, ColumnElement, Dialect, Engine, String, Text, type_coerce
from sqlalchemy.sql.operators import in_op, is_, is_not, not_in_op
from sqlalchemy.types import TypeDecorator
from sqlmodel import Session

from rungwise.errors import ServiceError

KEY_BYTES = 32
ID_BYTES = 4
NONCE_BYTES = 12
NUMBERS_KEY_BYTES = 64
MARK = b"="
# What values bound to their column begin with; AES-GCM and AES-SIV in this order.
SEALED, FINDABLE = "~3", "~4"
# As before values were bound: opened until `rungwise keys rotate` has brought them over.
LOOSE_SEALED, LOOSE_FINDABLE = "~1", "~2"
ALL_FORMS = (SEALED, FINDABLE, LOOSE_SEALED, LOOSE_FINDABLE)


class Unreadable(ServiceError):
    """A stored value was sealed with a key that is not in RUNGWISE_DATA_KEYS. Add that key there,
    after the newest, and start again.
    """


class InClear(ServiceError):
    """Words stand in clear where the database holds sealed ones, so they were written by hand.
    `rungwise audit verify` says what else was changed; put a backup back.
    """


class NotInSql(TypeError):
    """A mistake in the code: the database was to compare or sort what it cannot read."""


class Key:
    """One key of the installation, 32 random bytes as 43 letters. Its id is no secret."""

    def __init__(self, text: str) -> None:
        secret = base64.urlsafe_b64decode(text + "=")
        if len(secret) != KEY_BYTES:
            raise ValueError("A key has 43 letters, digits, - and _.")
        self.id = _derived(secret, b"id", ID_BYTES)
        self.values = AESGCM(_derived(secret, b"values", KEY_BYTES))
        self.keys = AESGCM(_derived(secret, b"keys", KEY_BYTES))

    @property
    def name(self) -> str:
        """The id as people read it."""
        return self.id.hex()

    def wrap(self, secret: bytes) -> str:
        """Another key, sealed with this one."""
        nonce = os.urandom(NONCE_BYTES)
        return _text(self.id + nonce + self.keys.encrypt(nonce, secret, None))


def make_key() -> str:
    return token_urlsafe(KEY_BYTES)


def keys_from(setting: str | None) -> tuple[Key, ...]:
    """The keys in RUNGWISE_DATA_KEYS, newest first."""
    return tuple(Key(text) for text in (setting or "").replace(",", " ").split())


def make_numbers_key() -> bytes:
    return os.urandom(NUMBERS_KEY_BYTES)


def make_audit_key() -> bytes:
    return os.urandom(KEY_BYTES)


def unwrap(wrapped: str, keys: Sequence[Key]) -> bytes | None:
    """What `Key.wrap` sealed, if one of these keys did it."""
    raw = _bytes(wrapped)
    for key in keys:
        if raw[:ID_BYTES] == key.id:
            nonce, rest = raw[ID_BYTES:][:NONCE_BYTES], raw[ID_BYTES + NONCE_BYTES :]
            return key.keys.decrypt(nonce, rest, None)
    return None


@dataclass(frozen=True, slots=True)
class Held:
    """What a stored value is: its words, and whether the newest keys sealed it."""

    words: str
    fresh: bool


class Vault:
    """Seals with the first key, opens with any. `numbers_key` is for what must be found again,
    `audit_keys` are for the audit trail, newest first.

    `bound`: seals to the column. `loose`: opens what was sealed before values were bound.
    """

    def __init__(
        self,
        keys: Sequence[Key],
        numbers_key: bytes,
        audit_keys: Sequence[bytes] = (),
        *,
        bound: bool = True,
        loose: bool = False,
    ) -> None:
        self._first = keys[0]
        self._by_id = {key.id: key.values for key in keys}
        self._numbers = AESSIV(numbers_key)
        self._numbers_id = _derived(numbers_key, b"id", ID_BYTES)
        self._blinding = _derived(numbers_key, b"blinding", KEY_BYTES)
        self._audit = {_derived(key, b"id", ID_BYTES).hex(): key for key in audit_keys}
        self._bound = bound
        self._opens = ALL_FORMS if loose or not bound else ALL_FORMS[:2]

    def seal(self, words: str, place: bytes) -> str:
        """`place` names the column, as its type has it."""
        nonce = os.urandom(NONCE_BYTES)
        bound_to = place if self._bound else None
        sealed = self._first.values.encrypt(nonce, words.encode(), bound_to)
        form = SEALED if self._bound else LOOSE_SEALED
        return form + _text(self._first.id + nonce + sealed)

    def seal_findable(self, words: str, place: bytes) -> str:
        if not self._bound:
            sealed = self._numbers.encrypt(words.encode(), None) if words else b""
            return LOOSE_FINDABLE + _text(self._numbers_id + sealed)
        # AES-SIV seals no empty words; the mark is taken off again on opening.
        sealed = self._numbers.encrypt(MARK + words.encode(), [place])
        return FINDABLE + _text(self._numbers_id + sealed)

    def open(self, stored: str, place: bytes) -> str:
        """The words; Unreadable when no key here fits or they were sealed for another place.

        InClear when they were never sealed.
        """
        if not stored.startswith(ALL_FORMS):
            raise InClear
        held = self.look(stored, place)
        if held is None:
            raise Unreadable
        return held.words

    def look(self, stored: str, place: bytes) -> Held | None:
        """The words of a sealed value; None when it is not one, or no key or place here fits."""
        if not stored.startswith(self._opens):
            return None
        try:
            raw = _bytes(stored[2:])
            who, rest = raw[:ID_BYTES], raw[ID_BYTES:]
            if stored.startswith((FINDABLE, LOOSE_FINDABLE)) and who == self._numbers_id:
                return Held(self._found(stored, rest, place), fresh=self._is_form(stored))
            if stored.startswith((SEALED, LOOSE_SEALED)) and who in self._by_id:
                nonce, rest = rest[:NONCE_BYTES], rest[NONCE_BYTES:]
                bound_to = place if stored.startswith(SEALED) else None
                words = self._by_id[who].decrypt(nonce, rest, bound_to).decode()
                return Held(words, fresh=who == self._first.id and self._is_form(stored))
        except (ValueError, InvalidTag):
            pass
        return None

    def _found(self, stored: str, rest: bytes, place: bytes) -> str:
        if stored.startswith(FINDABLE):
            return self._numbers.decrypt(rest, [place])[len(MARK) :].decode()
        return self._numbers.decrypt(rest, None).decode() if rest else ""

    def _is_form(self, stored: str) -> bool:
        """Whether it is bound to its column exactly where this vault binds."""
        return stored.startswith((SEALED, FINDABLE)) is self._bound

    def blind(self, words: str) -> str:
        """A keyed hash, for unique keys that would otherwise hold a number or an address."""
        return hmac.new(self._blinding, words.encode(), sha256).hexdigest()[:32]

    @property
    def audit_key(self) -> str:
        """The name of the audit trail's newest key; empty where there is none."""
        return next(iter(self._audit), "")

    def audit_hash(self, key: str, words: str) -> str | None:
        """As the function of that name has it."""
        if not key:
            return sha256(words.encode()).hexdigest()
        secret = self._audit.get(key)
        return None if secret is None else hmac.new(secret, words.encode(), sha256).hexdigest()


def looks_sealed(stored: str) -> bool:
    """Whether a value has the form of a sealed one, with whatever key."""
    try:
        raw = _bytes(stored[len(SEALED) :])
    except ValueError:
        return False
    return stored.startswith(ALL_FORMS) and len(raw) >= ID_BYTES


def _derived(secret: bytes, purpose: bytes, length: int) -> bytes:
    return HKDF(SHA256(), length, salt=None, info=b"rungwise " + purpose).derive(secret)


def _text(raw: bytes) -> str:
    return base64.urlsafe_b64encode(raw).decode()


def _bytes(text: str) -> bytes:
    return base64.b64decode(text, altchars=b"-_", validate=True)


# --- where the vault is kept ----------------------------------------------------------------------


def put_vault(engine: Engine, vault: Vault) -> None:
    """Give an engine its vault, before any statement with one of the types below has run on it."""
    engine.dialect._rungwise_vault = vault  # type: ignore[attr-defined]


def vault_of(dialect: Dialect) -> Vault | None:
    return getattr(dialect, "_rungwise_vault", None)


def is_sealed(session: Session) -> bool:
    """Whether this session's database must be searched and sorted by us instead."""
    return vault_of(session.get_bind().dialect) is not None


def blind(session: Session, words: str) -> str:
    """`words` as a keyed hash where the database is sealed, and as they are where not."""
    vault = vault_of(session.get_bind().dialect)
    return words if vault is None else vault.blind(words)


def audit_key(session: Session) -> str:
    """The name of the key that hashes new lines of the audit trail; empty without data keys."""
    vault = vault_of(session.get_bind().dialect)
    return "" if vault is None else vault.audit_key


def audit_hash(session: Session, key: str, words: str) -> str | None:
    """SHA-256 of the words, keyed where `key` names one; None when that key is not here."""
    vault = vault_of(session.get_bind().dialect)
    if vault is None:
        return None if key else sha256(words.encode()).hexdigest()
    return vault.audit_hash(key, words)


def in_clear(column: Any) -> ColumnElement[str]:
    """The column as the database holds it: to compare and sort by where `is_sealed` is False."""
    return type_coerce(column, Text())


# --- the types ------------------------------------------------------------------------------------

Process = Callable[[Any], Any]


def _sealing(seal: Process, plain: Process | None) -> Process:
    """Seal, then whatever the plain type does to what goes into the database."""

    def process(value: Any) -> Any:
        value = None if value is None else seal(value)
        return value if plain is None else plain(value)

    return process


def _opening(open_: Process, plain: Process | None) -> Process:
    """What the plain type does to what comes out of the database, then open it."""

    def process(value: Any) -> Any:
        value = value if plain is None else plain(value)
        return None if value is None else open_(value)

    return process


class _Never(String.Comparator[str]):
    """Refuses to let the database compare what it may not be able to read."""

    allowed: tuple[object, ...] = (is_, is_not)

    def operate(self, op: Any, *other: Any, **more: Any) -> ColumnElement[Any]:
        if op in self.allowed or (op in (eq, ne) and self._harmless(other[0])):
            return super().operate(op, *other, **more)
        raise NotInSql(
            f"{self.expr} may be sealed, so the database cannot work out {op.__name__} on it. "
            "Compare in Python, or in_clear(...) where is_sealed(session) is False."
        )

    def _harmless(self, other: Any) -> bool:
        """None, or the very same column: so SQLAlchemy itself finds columns in its tables."""
        return other is None or (isinstance(other, ColumnElement) and str(other) == str(self.expr))


class _Equal(_Never):
    allowed = (is_, is_not, eq, ne, in_op, not_in_op)


class _Bound(TypeDecorator[Any]):
    """A type that knows its column, and takes its part in what is sealed for it."""

    cache_ok = True
    _column: Column[Any] | None = None

    def _set_parent(self, parent: Any, outer: bool = False, **more: Any) -> None:
        super()._set_parent(parent, outer, **more)
        if isinstance(parent, Column):
            self._column = parent

    @property
    def place(self) -> bytes:
        """What binds a value to its table and column; nothing for a type outside any table."""
        column = self._column
        if column is None or column.table is None:
            return b""
        return f"{column.table.name}.{column.name}".encode()

    # The two methods below are overridden, and not process_bind_param, so that a store without
    # keys runs the very statements it would run with plain columns.

    def bind_processor(self, dialect: Dialect) -> Process | None:
        plain = self.impl_instance.bind_processor(dialect)
        vault = vault_of(dialect)
        return plain if vault is None else _sealing(partial(self.seal, vault), plain)

    def result_processor(self, dialect: Dialect, coltype: object) -> Process | None:
        plain = self.impl_instance.result_processor(dialect, coltype)
        vault = vault_of(dialect)
        return plain if vault is None else _opening(partial(self.unseal, vault), plain)

    def seal(self, vault: Vault, value: Any) -> str:
        return vault.seal(value, self.place)

    def unseal(self, vault: Vault, stored: Any) -> Any:
        return vault.open(stored, self.place)


class Sealed(_Bound):
    """Words, sealed where the store has keys."""

    impl = Text
    cache_ok = True
    comparator_factory = _Never


class Findable(Sealed):
    """Words sealed so that equal ones are stored alike: a phone number, an address."""

    cache_ok = True
    comparator_factory = _Equal

    def seal(self, vault: Vault, value: Any) -> str:
        return vault.seal_findable(value, self.place)


class SealedJSON(_Bound):
    """A plain JSON value; sealed, it is a JSON string."""

    impl = JSON
    cache_ok = True

    def seal(self, vault: Vault, value: Any) -> str:
        return vault.seal(json.dumps(value), self.place)

    def unseal(self, vault: Vault, stored: Any) -> Any:
        if not isinstance(stored, str):
            raise InClear
        return json.loads(vault.open(stored, self.place))
