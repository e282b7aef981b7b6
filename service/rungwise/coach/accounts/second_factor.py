"""The second factor: a code from an app (TOTP, RFC 6238), or one of ten recovery codes.

A code works once, so one that was looked at over a shoulder opens nothing.
"""

import secrets
from base64 import b32decode, b32encode
from collections.abc import Callable
from datetime import datetime
from hashlib import sha256

from cryptography.hazmat.primitives.hashes import SHA1
from cryptography.hazmat.primitives.twofactor.totp import TOTP
from sqlalchemy import delete, func, update
from sqlmodel import Session, col, select

from rungwise.coach.accounts.sign_in_notices import tell_owner
from rungwise.coach.record.audit import record
from rungwise.errors import ServiceError
from rungwise.store.idempotent_inserts import rows_updated
from rungwise.store.tables import Passkey, Practice, RecoveryCode, Trainer

RECOVERY_CODES = 10
# Letters and digits that nobody mistakes for another.
ALPHABET = "ABCDEFGHJKLMNPQRSTUVWXYZ23456789"
RECOVERY_LETTERS = 16
STEP_S = 30
DIGITS = 6
SECRET_BYTES = 20  # RFC 4226 recommends 160 bits
# A clock may be off by one step.
STEPS_AROUND = (-1, 0, 1)

# What a right code is given for: its answer is the new recovery codes.
Act = Callable[[Session, datetime, Trainer, str], list[str]]


class WrongCode(ServiceError):
    """This code is not right, or was used before. Wait for the next one and type that."""


def has_factor(trainer: Trainer) -> bool:
    return trainer.factor_since is not None


def begin(session: Session, trainer: Trainer) -> str:
    """A new secret, not asked for before `confirm`; the one being set up already, if there is."""
    if trainer.factor_since is None and trainer.factor_secret is None:
        trainer.factor_secret = b32encode(secrets.token_bytes(SECRET_BYTES)).decode()
        session.add(trainer)
    return trainer.factor_secret or ""


def address_of(trainer: Trainer, practice: Practice, secret: str) -> str:
    """What an authenticator app reads from the QR code."""
    issuer = f"Rungwise {practice.name}"
    return _app(secret).get_provisioning_uri(trainer.email, issuer)


def confirm(session: Session, now: datetime, trainer: Trainer, code: str) -> list[str]:
    """The app shows the right code: from now on it is asked for. Gives the recovery codes."""
    _take_code(session, now, trainer, code)
    trainer.factor_since = now
    session.add(trainer)
    record(session, now, trainer, "second factor set up")
    tell_owner(session, now, trainer, "factor")
    return _new_codes(session, now, trainer)


def begin_with_codes(session: Session, now: datetime, trainer: Trainer) -> list[str]:
    """A factor without an app is there: from now on it is asked for. Gives the recovery codes."""
    trainer.factor_since = now
    session.add(trainer)
    return _new_codes(session, now, trainer)


def renew_codes(session: Session, now: datetime, trainer: Trainer, code: str) -> list[str]:
    """New recovery codes in place of the old ones."""
    _take_code(session, now, trainer, code)
    record(session, now, trainer, "recovery codes renewed")
    return _new_codes(session, now, trainer)


def remove(session: Session, now: datetime, trainer: Trainer, by: Trainer) -> None:
    """No second factor any more, until a new one is set up."""
    had = has_factor(trainer)
    trainer.factor_secret = trainer.factor_since = None
    trainer.factor_step = 0
    session.add(trainer)
    session.execute(delete(RecoveryCode).where(col(RecoveryCode.trainer_id) == trainer.id))
    session.execute(delete(Passkey).where(col(Passkey.trainer_id) == trainer.id))
    if had:
        record(session, now, by, "second factor removed", colleague=trainer.id)
        tell_owner(session, now, trainer, "factor")


def passes(session: Session, now: datetime, trainer: Trainer, code: str) -> bool:
    """Whether a code from the app or a recovery code is right; it is used up then."""
    try:
        _take_code(session, now, trainer, code)
    except WrongCode:
        return _take_recovery(session, now, trainer, code)
    return True


def codes_left(session: Session, trainer: Trainer) -> int:
    rows = select(func.count(col(RecoveryCode.id))).where(
        RecoveryCode.trainer_id == trainer.id, col(RecoveryCode.used_at).is_(None)
    )
    return session.exec(rows).one()


def _app(secret: str) -> TOTP:
    """RFC 6238 with SHA-1, which every authenticator app knows, and which is safe in an HMAC."""
    return TOTP(b32decode(secret), DIGITS, SHA1(), STEP_S)  # noqa: S303


def _take_code(session: Session, now: datetime, trainer: Trainer, code: str) -> None:
    """WrongCode unless it is the app's code of about now, and later than any used before.

    Only the transaction whose update counts has used it.
    """
    given = "".join(code.split())
    if trainer.factor_secret is None or not (given.isascii() and given.isdigit()):
        raise WrongCode
    app = _app(trainer.factor_secret)
    step = int(now.timestamp()) // STEP_S
    for each in (step + around for around in STEPS_AROUND):
        if secrets.compare_digest(app.generate(each * STEP_S).decode(), given):
            earlier = (col(Trainer.id) == trainer.id, col(Trainer.factor_step) < each)
            if rows_updated(session, update(Trainer).where(*earlier).values(factor_step=each)) == 1:
                return
    raise WrongCode


def _take_recovery(session: Session, now: datetime, trainer: Trainer, code: str) -> bool:
    """Only the transaction whose update counts has used it."""
    used = (
        update(RecoveryCode)
        .where(
            col(RecoveryCode.trainer_id) == trainer.id,
            col(RecoveryCode.code_hash) == _hash(code),
            col(RecoveryCode.used_at).is_(None),
        )
        .values(used_at=now)
    )
    if rows_updated(session, used) != 1:
        return False
    record(session, now, trainer, "recovery code used", left=codes_left(session, trainer))
    tell_owner(session, now, trainer, "code")
    return True


def _new_codes(session: Session, now: datetime, trainer: Trainer) -> list[str]:
    session.execute(delete(RecoveryCode).where(col(RecoveryCode.trainer_id) == trainer.id))
    made = [_code() for _ in range(RECOVERY_CODES)]
    for code in made:
        session.add(RecoveryCode(trainer_id=trainer.id, code_hash=_hash(code), made_at=now))
    return made


def _code() -> str:
    """Four groups of four: 80 bits, so that a plain hash of it can be kept."""
    letters = "".join(secrets.choice(ALPHABET) for _ in range(RECOVERY_LETTERS))
    return "-".join(letters[place : place + 4] for place in range(0, RECOVERY_LETTERS, 4))


def _hash(code: str) -> str:
    plain = "".join(letter for letter in code.upper() if letter.isalnum())
    return sha256(plain.encode()).hexdigest()
