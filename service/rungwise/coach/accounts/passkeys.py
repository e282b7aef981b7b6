"""Passkeys (WebAuthn, W3C Recommendation of level 2): set up, asked for, and taken away.

One is a second factor after the password, or signs in alone when the device has made sure who
holds it. Of a passkey only its public key is kept. The library is an extra: without it there are
none.
"""

import json
import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cache
from hashlib import sha256
from importlib.util import find_spec
from ipaddress import ip_address
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from sqlalchemy import delete, update
from sqlmodel import Session, col, select

from rungwise.coach.accounts import second_factor as factor
from rungwise.coach.accounts.sign_in_notices import tell_owner
from rungwise.coach.record.audit import record
from rungwise.errors import NotFound, ServiceError
from rungwise.store.idempotent_inserts import rows_updated
from rungwise.store.tables import Passkey, PasskeyChallenge, Trainer

if TYPE_CHECKING:
    from webauthn.helpers.structs import PublicKeyCredentialDescriptor

CHALLENGE_LASTS = timedelta(minutes=5)
CHALLENGE_BYTES = 32
MOST_PASSKEYS = 10
LONGEST_NAME = 40


class PasskeyRefused(ServiceError):
    """This passkey was not taken. Try it again, or sign in with your password."""


class EnoughPasskeys(ServiceError):
    """You have 10 passkeys, which is the most. Remove one first."""


@dataclass(frozen=True, slots=True)
class Site:
    """Whom passkeys are for: the name that browsers know this service by."""

    host: str
    origin: str


@cache
def site_of(public_url: str) -> Site | None:
    """The site at an address; None where browsers offer no passkeys, or the extra is missing.

    An address of numbers is no name, and only this machine may go without https.
    """
    address = urlsplit(public_url)
    host = address.hostname or ""
    by_name = host == "localhost" or (address.scheme == "https" and not _is_number(host))
    if not by_name or find_spec("webauthn") is None:
        return None
    return Site(host, f"{address.scheme}://{address.netloc}")


def _is_number(host: str) -> bool:
    try:
        ip_address(host)
    except ValueError:
        return False
    return True


def passkeys_of(session: Session, trainer: Trainer) -> list[Passkey]:
    rows = select(Passkey).where(Passkey.trainer_id == trainer.id)
    return list(session.exec(rows.order_by(col(Passkey.id))).all())


# --- what the browser is asked --------------------------------------------------------------------


def options_to_add(
    session: Session, now: datetime, trainer: Trainer, site: Site, holder: str
) -> str:
    """What the browser needs to make a passkey; `holder` is who may answer."""
    import webauthn  # noqa: PLC0415  # an extra, and slow to load
    from webauthn.helpers import structs  # noqa: PLC0415

    had = passkeys_of(session, trainer)
    if len(had) >= MOST_PASSKEYS:
        raise EnoughPasskeys
    options = webauthn.generate_registration_options(
        rp_id=site.host,
        rp_name="Rungwise",
        user_name=trainer.email,
        user_display_name=trainer.name,
        user_id=_handle(trainer),
        challenge=_challenge(session, now, holder),
        authenticator_selection=structs.AuthenticatorSelectionCriteria(
            resident_key=structs.ResidentKeyRequirement.REQUIRED,
            user_verification=structs.UserVerificationRequirement.REQUIRED,
        ),
        exclude_credentials=[_named(one) for one in had],
    )
    return webauthn.options_to_json(options)


def options_to_sign_in(
    session: Session, now: datetime, trainer: Trainer | None, site: Site, holder: str
) -> str:
    """What the browser needs to use a passkey: `trainer`'s, or whichever the device offers."""
    import webauthn  # noqa: PLC0415
    from webauthn.helpers import structs  # noqa: PLC0415

    need = structs.UserVerificationRequirement
    options = webauthn.generate_authentication_options(
        rp_id=site.host,
        challenge=_challenge(session, now, holder),
        allow_credentials=[_named(one) for one in passkeys_of(session, trainer)] if trainer else [],
        user_verification=need.REQUIRED if trainer is None else need.PREFERRED,
    )
    return webauthn.options_to_json(options)


def _handle(trainer: Trainer) -> bytes:
    """By which a device tells one of its owner's accounts from another; it names nobody."""
    return sha256(f"{trainer.id} {trainer.created_at.isoformat()}".encode()).digest()


def _named(passkey: Passkey) -> "PublicKeyCredentialDescriptor":
    from webauthn.helpers import base64url_to_bytes, structs  # noqa: PLC0415

    return structs.PublicKeyCredentialDescriptor(id=base64url_to_bytes(passkey.credential_id))


def _challenge(session: Session, now: datetime, holder: str) -> bytes:
    """A new challenge that only its holder may answer, once and soon."""
    session.execute(delete(PasskeyChallenge).where(col(PasskeyChallenge.expires_at) <= now))
    challenge = secrets.token_bytes(CHALLENGE_BYTES)
    session.add(
        PasskeyChallenge(
            challenge_hash=sha256(challenge).hexdigest(),
            holder_hash=_holder(holder),
            expires_at=now + CHALLENGE_LASTS,
        )
    )
    return challenge


def _holder(holder: str) -> str:
    return sha256(f"passkey:{holder}".encode()).hexdigest()


# --- what the browser answers ---------------------------------------------------------------------


def add_passkey(
    session: Session,
    now: datetime,
    trainer: Trainer,
    site: Site,
    holder: str,
    answer: str,
    name: str,
) -> list[str]:
    """Keep the passkey that the browser made; the recovery codes, where it is the first factor."""
    import webauthn  # noqa: PLC0415
    from webauthn.helpers import bytes_to_base64url, exceptions  # noqa: PLC0415

    challenge = _take_challenge(session, now, holder, answer)
    try:
        made = webauthn.verify_registration_response(
            credential=answer,
            expected_challenge=challenge,
            expected_rp_id=site.host,
            expected_origin=site.origin,
            require_user_verification=True,
        )
    except exceptions.WebAuthnException as refused:
        raise PasskeyRefused from refused
    had = passkeys_of(session, trainer)
    if len(had) >= MOST_PASSKEYS:
        raise EnoughPasskeys
    session.add(
        Passkey(
            trainer_id=trainer.id,
            credential_id=bytes_to_base64url(made.credential_id),
            public_key=made.credential_public_key.hex(),
            sign_count=made.sign_count,
            name=" ".join(name.split())[:LONGEST_NAME] or "Passkey",
            made_at=now,
        )
    )
    session.flush()
    record(session, now, trainer, "passkey added")
    tell_owner(session, now, trainer, "factor")
    return [] if factor.has_factor(trainer) else factor.begin_with_codes(session, now, trainer)


def signs_in(
    session: Session, now: datetime, site: Site, holder: str, answer: str, *, half: Trainer | None
) -> Trainer:
    """Whose passkey answered; PasskeyRefused unless it is theirs who gave the password, or alone
    made sure who held it.
    """
    import webauthn  # noqa: PLC0415
    from webauthn.helpers import exceptions  # noqa: PLC0415

    challenge = _take_challenge(session, now, holder, answer)
    credential_id = str(_part(answer, "id"))
    rows = (
        select(Passkey, Trainer)
        .join(Trainer, col(Trainer.id) == col(Passkey.trainer_id))
        .where(Passkey.credential_id == credential_id, col(Trainer.active).is_(True))
    )
    found = session.exec(rows.with_for_update(of=Passkey)).first()
    if found is None or (half is not None and found[1].id != half.id):
        raise PasskeyRefused
    passkey, trainer = found
    try:
        used = webauthn.verify_authentication_response(
            credential=answer,
            expected_challenge=challenge,
            expected_rp_id=site.host,
            expected_origin=site.origin,
            credential_public_key=bytes.fromhex(passkey.public_key),
            credential_current_sign_count=passkey.sign_count,
            require_user_verification=half is None,
        )
    except exceptions.WebAuthnException as refused:
        raise PasskeyRefused from refused
    counted = (col(Passkey.id) == passkey.id, col(Passkey.sign_count) == passkey.sign_count)
    values = {"sign_count": used.new_sign_count, "used_at": now}
    if rows_updated(session, update(Passkey).where(*counted).values(**values)) != 1:
        raise PasskeyRefused
    return trainer


def _take_challenge(session: Session, now: datetime, holder: str, answer: str) -> bytes:
    """The challenge that is answered, used up by it; PasskeyRefused if it is nobody's, or not
    this holder's.
    """
    from webauthn.helpers import base64url_to_bytes  # noqa: PLC0415

    try:
        said = json.loads(base64url_to_bytes(str(_part(answer, "response", "clientDataJSON"))))
        challenge = base64url_to_bytes(str(said["challenge"]))
    except (ValueError, KeyError, TypeError) as unreadable:
        raise PasskeyRefused from unreadable
    mine = (
        col(PasskeyChallenge.challenge_hash) == sha256(challenge).hexdigest(),
        col(PasskeyChallenge.holder_hash) == _holder(holder),
        col(PasskeyChallenge.expires_at) > now,
    )
    taken = session.execute(delete(PasskeyChallenge).where(*mine))
    if taken.rowcount != 1:  # type: ignore[attr-defined]  # a DELETE always has a count
        raise PasskeyRefused
    return challenge


def _part(answer: str, *path: str) -> object:
    try:
        found = json.loads(answer)
        for name in path:
            found = found[name]
    except (ValueError, KeyError, TypeError, RecursionError) as unreadable:
        raise PasskeyRefused from unreadable
    return found


def own_passkey(session: Session, trainer: Trainer, passkey_id: int) -> Passkey:
    """One of the trainer's own; NotFound for any other."""
    passkey = session.get(Passkey, passkey_id)
    if passkey is None or passkey.trainer_id != trainer.id:
        raise NotFound("You have no such passkey.")
    return passkey


def remove_passkey(session: Session, now: datetime, trainer: Trainer, passkey_id: int) -> None:
    """It opens nothing any more; without any factor left, none is asked for."""
    session.delete(own_passkey(session, trainer, passkey_id))
    session.flush()
    record(session, now, trainer, "passkey removed")
    tell_owner(session, now, trainer, "factor")
    if trainer.factor_secret is None and not passkeys_of(session, trainer):
        factor.remove(session, now, trainer, trainer)
