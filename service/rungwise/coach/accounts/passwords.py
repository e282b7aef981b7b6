"""Passwords: long, not on lists of stolen ones nor close to them, and kept only as argon2id hashes.

No rules about kinds of characters: they make passwords worse. The lists come with the zxcvbn
library and need no network.
"""

import secrets
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cache
from threading import BoundedSemaphore
from typing import TypeVar

from cryptography.exceptions import InvalidKey
from cryptography.hazmat.primitives.kdf.argon2 import Argon2id

from rungwise.errors import ServiceError

# OWASP ASVS 4.0.3, 2.1.1 and 2.1.2.
SHORTEST = 12
LONGEST = 128
# Guesses that an attacker with the lists needs, as the library estimates them: where its score of
# 3 out of 4 begins, against offline guessing at a slow hash.
FEWEST_GUESSES = 10**8
# Letters that a password must have besides its owner's name, digits and signs. Common practice, no
# source.
FEWEST_OWN = 6
# The library looks at no more, and its time grows with the square.
LOOKED_AT = 72
# RFC 9106, section 3.1.
SALT_BYTES, HASH_BYTES = 16, 32


# argon2id takes 64 MiB and a core for each hash, so guesses made at once must not take either from
# the texts. Two may run, and a few wait; more are told to come back.
AT_ONCE = 2
MAY_WAIT = 6

T = TypeVar("T")

_pool = ThreadPoolExecutor(AT_ONCE, thread_name_prefix="hashing")
_room = BoundedSemaphore(AT_ONCE + MAY_WAIT)


class TooBusy(ServiceError):
    """Many people are signing in just now. Wait a minute and try again."""


class PasswordRefused(ServiceError):
    """A password that is too easy to guess, with what to do instead."""


@dataclass(frozen=True, slots=True)
class Hasher:
    """argon2id at a cost: by default RFC 9106's for little memory, 64 MiB and 3 passes.

    Hashes are in the usual PHC form, which names the cost that each was made at.
    """

    passes: int = 3
    memory_kib: int = 65_536
    lanes: int = 4

    def hash(self, password: str) -> str:
        made = Argon2id(
            salt=secrets.token_bytes(SALT_BYTES),
            length=HASH_BYTES,
            iterations=self.passes,
            lanes=self.lanes,
            memory_cost=self.memory_kib,
        )
        return made.derive_phc_encoded(password.encode())

    def is_outdated(self, password_hash: str) -> bool:
        """Whether a hash was made at another cost; it is renewed at the next sign-in."""
        cost = f"$argon2id$v=19$m={self.memory_kib},t={self.passes},p={self.lanes}$"
        return not password_hash.startswith(cost)


_hasher = Hasher()


def hasher() -> Hasher:
    """The hasher for new passwords."""
    return _hasher


def set_hasher(chosen: Hasher) -> None:
    """For tests, which sign in thousands of times: another cost from now on."""
    global _hasher  # noqa: PLW0603  # one for the whole process, as its cost is
    _hasher = chosen
    nobodys_hash.cache_clear()


def verified(password_hash: str, password: str) -> bool:
    """Whether the password is the one that was hashed, at whatever cost.

    TooBusy when too many are being looked at.
    """

    def verify() -> bool:
        try:
            Argon2id.verify_phc_encoded(password.encode(), password_hash)
        except InvalidKey:
            return False
        return True

    return _in_turn(verify)


def hash_of_password(password: str) -> str:
    """The hash to keep. TooBusy when too many are being hashed."""
    return _in_turn(lambda: hasher().hash(password))


def _in_turn(work: Callable[[], T]) -> T:
    if not _room.acquire(blocking=False):
        raise TooBusy
    try:
        return _pool.submit(work).result()
    finally:
        _room.release()


@cache
def nobodys_hash() -> str:
    """Verified when there is no such account, so that it takes as long."""
    return hasher().hash(secrets.token_urlsafe(24))


def check_password(password: str, about: Sequence[str] = ()) -> None:
    """PasswordRefused unless it is long and hard to guess, also for who knows `about` them."""
    if len(password) < SHORTEST:
        raise PasswordRefused(
            f"A password needs at least {SHORTEST} characters. Three or four words that have "
            "nothing to do with each other are easy to remember."
        )
    if len(password) > LONGEST:
        raise PasswordRefused(f"A password may have at most {LONGEST} characters.")
    known = sorted({word for text in about for word in _words(text)}, key=len, reverse=True)
    if _left_of(password, known) < FEWEST_OWN or _guesses(password, known) < FEWEST_GUESSES:
        raise PasswordRefused(
            "This password is on lists of stolen passwords, close to one of them, or made of your "
            "own name or address. Choose another, such as four unconnected words."
        )


def _left_of(password: str, known: Sequence[str]) -> int:
    """How many letters are left without what is known about the person, digits and signs."""
    left = password.lower()
    if not any(word in left for word in known):
        return len(left)
    for word in known:
        left = left.replace(word, " ")
    return sum(letter.isalpha() or not letter.isascii() for letter in left)


def _guesses(password: str, known: Sequence[str]) -> int:
    from zxcvbn import zxcvbn  # noqa: PLC0415  # its lists take long to load

    return int(zxcvbn(password[:LOOKED_AT], user_inputs=list(known))["guesses"])


def _words(text: str) -> list[str]:
    """A name or an address, and each piece of it that is long enough to be a guess."""
    pieces = "".join(letter if letter.isalnum() else " " for letter in text.lower()).split()
    return [text.lower(), *(piece for piece in pieces if len(piece) >= 3)]
