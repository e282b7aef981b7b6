"""Passwords: long, not on lists of stolen ones nor close to them, and kept only as argon2id hashes.

No rules about kinds of characters: they make passwords worse. The lists come with the zxcvbn
library and need no network.
"""

import secrets
from collections.abc import Sequence
from functools import cache

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

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


class PasswordRefused(ServiceError):
    """A password that is too easy to guess, with what to do instead."""


@cache
def hasher() -> PasswordHasher:
    """argon2id with the library's parameters; an older hash is renewed at the next sign-in."""
    return PasswordHasher()


def verified(password_hash: str, password: str) -> bool:
    try:
        return hasher().verify(password_hash, password)
    except (VerificationError, InvalidHashError):
        return False


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
