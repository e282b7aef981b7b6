"""Sealing what names or quotes a person, so that a copied database file reveals nobody.

With keys, the columns of these types hold ciphertext; without, they are plain columns and nothing
is added to any statement:

- `Sealed` and `SealedJSON`: AES-256-GCM with a nonce of its own for every value. The database can
  neither compare nor sort what it holds, so doing that is refused, with or without keys.
- `Findable`: AES-SIV (RFC 5297). Its first 16 bytes are a keyed hash of the value, so equal values
  are stored alike: looking one up by `==` and unique constraints work, and nothing else does.

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
from sqlalchemy import JSON, ColumnElement, Dialect, Engine, String, Text, type_coerce
from sqlalchemy.sql.operators import in_op, is_, is_not, not_in_op
from sqlalchemy.types import TypeDecorator
from sqlmodel import Session

from rungwise.errors import ServiceError

KEY_BYTES = 32
ID_BYTES = 4
NONCE_BYTES = 12
NUMBERS_KEY_BYTES = 64
# What sealed values begin with; AES-GCM and AES-SIV in this order.
SEALED, FINDABLE = "~1", "~2"


class Unreadable(ServiceError):
    """A stored value was sealed with a key that is not in RUNGWISE_DATA_KEYS. Add that key there,
    after the newest, and start again.
    """

    def __init__(self) -> None:
        super().__init__(" ".join((self.__doc__ or "").split()))


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
    """Seals with the first key, opens with any. `numbers_key` is for what must be found again."""

    def __init__(self, keys: Sequence[Key], numbers_key: bytes) -> None:
        self._first = keys[0]
        self._by_id = {key.id: key.values for key in keys}
        self._numbers = AESSIV(numbers_key)
        self._numbers_id = _derived(numbers_key, b"id", ID_BYTES)
        self._blinding = _derived(numbers_key, b"blinding", KEY_BYTES)

    def seal(self, words: str) -> str:
        nonce = os.urandom(NONCE_BYTES)
        sealed = self._first.values.encrypt(nonce, words.encode(), None)
        return SEALED + _text(self._first.id + nonce + sealed)

    def seal_findable(self, words: str) -> str:
        sealed = self._numbers.encrypt(words.encode(), None) if words else b""
        return FINDABLE + _text(self._numbers_id + sealed)

    def open(self, stored: str) -> str:
        """The words; Unreadable when no key here fits. What was never sealed is given as it is."""
        if not stored.startswith((SEALED, FINDABLE)):
            return stored
        held = self.look(stored)
        if held is None:
            raise Unreadable
        return held.words

    def look(self, stored: str) -> Held | None:
        """The words of a sealed value; None when it is not one, or no key here fits."""
        try:
            raw = _bytes(stored[2:])
            who, rest = raw[:ID_BYTES], raw[ID_BYTES:]
            if stored.startswith(FINDABLE) and who == self._numbers_id:
                return Held(self._numbers.decrypt(rest, None).decode() if rest else "", fresh=True)
            if stored.startswith(SEALED) and who in self._by_id:
                nonce, rest = rest[:NONCE_BYTES], rest[NONCE_BYTES:]
                words = self._by_id[who].decrypt(nonce, rest, None).decode()
                return Held(words, fresh=who == self._first.id)
        except (ValueError, InvalidTag):
            pass
        return None

    def blind(self, words: str) -> str:
        """A keyed hash, for unique keys that would otherwise hold a number or an address."""
        return hmac.new(self._blinding, words.encode(), sha256).hexdigest()[:32]


def looks_sealed(stored: str) -> bool:
    """Whether a value has the form of a sealed one, with whatever key."""
    try:
        raw = _bytes(stored[len(SEALED) :])
    except ValueError:
        return False
    return stored.startswith((SEALED, FINDABLE)) and len(raw) >= ID_BYTES


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


class Sealed(TypeDecorator[str]):
    """Words, sealed where the store has keys."""

    impl = Text
    cache_ok = True
    comparator_factory = _Never

    # The two methods below are overridden, and not process_bind_param, so that a store without
    # keys runs the very statements it would run with plain columns.

    def bind_processor(self, dialect: Dialect) -> Process | None:
        plain = self.impl_instance.bind_processor(dialect)
        vault = vault_of(dialect)
        return plain if vault is None else _sealing(partial(self.seal, vault), plain)

    def result_processor(self, dialect: Dialect, coltype: object) -> Process | None:
        plain = self.impl_instance.result_processor(dialect, coltype)
        vault = vault_of(dialect)
        return plain if vault is None else _opening(vault.open, plain)

    @staticmethod
    def seal(vault: Vault, words: str) -> str:
        return vault.seal(words)


class Findable(Sealed):
    """Words sealed so that equal ones are stored alike: a phone number, an address."""

    cache_ok = True
    comparator_factory = _Equal

    @staticmethod
    def seal(vault: Vault, words: str) -> str:
        return vault.seal_findable(words)


class SealedJSON(TypeDecorator[Any]):
    """A plain JSON value; sealed, it is a JSON string."""

    impl = JSON
    cache_ok = True

    def bind_processor(self, dialect: Dialect) -> Process | None:
        plain = self.impl_instance.bind_processor(dialect)
        vault = vault_of(dialect)
        return plain if vault is None else _sealing(partial(self.seal, vault), plain)

    def result_processor(self, dialect: Dialect, coltype: object) -> Process | None:
        plain = self.impl_instance.result_processor(dialect, coltype)
        vault = vault_of(dialect)
        return plain if vault is None else _opening(partial(_opened_json, vault), plain)

    @staticmethod
    def seal(vault: Vault, value: Any) -> str:
        return vault.seal(json.dumps(value))


def _opened_json(vault: Vault, value: Any) -> Any:
    if isinstance(value, str) and value.startswith(SEALED):
        return json.loads(vault.open(value))
    return value
