"""Links by which a new trainer, or one who lost their password, chooses one: once, and for a time.

The link is shown to who made it and handed over by them; only its hash is kept.
"""

import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256

from sqlalchemy import update
from sqlmodel import Session, col, select

from rungwise.coach.accounts.organisation import unlink
from rungwise.coach.accounts.passwords import check_password, hash_of_password
from rungwise.coach.accounts.second_factor import remove
from rungwise.coach.accounts.sign_in_notices import tell_owner
from rungwise.coach.record.access import require_lead
from rungwise.coach.record.audit import record
from rungwise.coach.record.fields import name_or_refuse
from rungwise.errors import ImpossibleValue, NotFound, ServiceError
from rungwise.store.idempotent_inserts import rows_updated
from rungwise.store.tables import AccountLink, Practice, SignIn, Trainer

INVITATION_LASTS = timedelta(days=7)
RESET_LASTS = timedelta(hours=24)
# A path of 256 characters at most, with its brackets (RFC 5321, 4.5.3.1.3).
LONGEST_EMAIL = 254


class LinkGone(ServiceError):
    """This link was used, taken back, or is too old. Ask your practice lead for a new one."""


@dataclass(frozen=True, slots=True)
class Invited:
    """Who a link is for. `trainer` is None until an invitation is taken up."""

    link: AccountLink
    practice: Practice
    trainer: Trainer | None
    name: str
    email: str


def invite(
    session: Session, now: datetime, lead: Trainer, name: str, email: str, role: str = "trainer"
) -> str:
    """The token of an invitation; an earlier one to the same address ends."""
    require_lead(lead)
    token = invite_first(session, now, lead.practice_id, name, email, role, made_by=lead.id)
    record(session, now, lead, "invited", role=role)
    return token


def invite_first(
    session: Session,
    now: datetime,
    practice_id: int,
    name: str,
    email: str,
    role: str = "lead",
    made_by: int | None = None,
    phone: str | None = None,
) -> str:
    """An invitation without a lead who sends it: for whoever runs the installation."""
    if role not in ("trainer", "lead"):
        raise ImpossibleValue("role", role, "trainer or lead")
    name, email = name_or_refuse("name", name), email_or_refuse(email)
    if session.exec(select(Trainer.id).where(Trainer.email == email)).first() is not None:
        raise ImpossibleValue("e-mail address", email, "one that no trainer here has yet")
    _end(session, now, AccountLink.kind == "invitation", AccountLink.email == email)
    return _make(
        session,
        AccountLink(
            practice_id=practice_id,
            kind="invitation",
            token_hash="",
            name=name,
            email=email,
            phone=phone,
            role=role,
            made_by=made_by,
            made_at=now,
            expires_at=now + INVITATION_LASTS,
        ),
    )


def reset(
    session: Session,
    now: datetime,
    lead: Trainer | None,
    other: Trainer,
    *,
    drops_factor: bool = False,
    ends_earlier: bool = True,
) -> str:
    """The token by which `other` chooses a new password. `lead` None: by command or by mail.

    `ends_earlier` is False where anybody may ask, who must not end a link that a lead made.
    """
    if lead is not None:
        require_lead(lead)
    if ends_earlier:
        _end(session, now, AccountLink.kind == "reset", AccountLink.trainer_id == other.id)
    record(session, now, lead or other, "reset link made", colleague=other.id)
    return _make(
        session,
        AccountLink(
            practice_id=other.practice_id,
            kind="reset",
            token_hash="",
            trainer_id=other.id,
            drops_factor=drops_factor,
            made_by=lead.id if lead is not None else None,
            made_at=now,
            expires_at=now + RESET_LASTS,
        ),
    )


def email_or_refuse(given: str) -> str:
    """The address as it is kept: lower case, of a form that can be one."""
    email = given.strip().lower()
    local, at, host = email.rpartition("@")
    plain = email.isprintable() and not any(
        letter.isspace() or letter in "<>,;" for letter in email
    )
    if not (at and local and "." in host and plain and len(email) <= LONGEST_EMAIL):
        raise ImpossibleValue("e-mail address", given, "an address such as robin@example.org")
    return email


def living_links(session: Session, now: datetime, practice: Practice) -> list[AccountLink]:
    """Links of the practice that still work, latest first."""
    rows = select(AccountLink).where(
        AccountLink.practice_id == practice.id,
        col(AccountLink.used_at).is_(None),
        col(AccountLink.revoked_at).is_(None),
        AccountLink.expires_at > now,
    )
    return list(session.exec(rows.order_by(col(AccountLink.id).desc())).all())


def take_back(session: Session, now: datetime, lead: Trainer, link_id: int) -> None:
    """End a link of one's own practice; NotFound when there is none that works."""
    mine = (AccountLink.id == link_id, AccountLink.practice_id == lead.practice_id)
    if lead.role != "lead" or _end(session, now, *mine) == 0:
        raise NotFound("There is no such link.")
    record(session, now, lead, "link taken back", link=link_id)


def who_is_invited(session: Session, now: datetime, token: str) -> Invited:
    """Whose link this is; LinkGone when it doesn't work, or not any more."""
    link = session.exec(select(AccountLink).where(AccountLink.token_hash == _hash(token))).first()
    if link is None or link.used_at or link.revoked_at or link.expires_at <= now:
        raise LinkGone
    practice = session.get_one(Practice, link.practice_id)
    if link.trainer_id is None:
        return Invited(link, practice, None, link.name or "", link.email or "")
    trainer = session.get_one(Trainer, link.trainer_id)
    if not trainer.active:
        raise LinkGone
    return Invited(link, practice, trainer, trainer.name, trainer.email)


def choose_password(session: Session, now: datetime, token: str, password: str) -> Trainer:
    """Take the link up: the trainer has this password, is signed out everywhere, and may sign in.

    PasswordRefused leaves the link as it was.
    """
    invited = who_is_invited(session, now, token)
    check_password(password, about_them(invited.practice, invited.name, invited.email))
    if _use(session, now, invited.link) == 0:
        raise LinkGone
    trainer = invited.trainer or _new_trainer(session, now, invited)
    trainer.password_hash = hash_of_password(password)
    session.add(trainer)
    session.flush()
    sign_out_everywhere(session, now, trainer)
    record(session, now, trainer, f"{invited.link.kind} taken up")
    if invited.trainer is not None:
        tell_owner(session, now, trainer, "password")
    if invited.link.drops_factor:
        remove(session, now, trainer, trainer)
        unlink(session, now, trainer)
    return trainer


def change_password(session: Session, now: datetime, trainer: Trainer, password: str) -> None:
    """A new password in place of the old; signed out everywhere."""
    practice = session.get_one(Practice, trainer.practice_id)
    check_password(password, about_them(practice, trainer.name, trainer.email))
    trainer.password_hash = hash_of_password(password)
    session.add(trainer)
    _end(session, now, AccountLink.kind == "reset", AccountLink.trainer_id == trainer.id)
    sign_out_everywhere(session, now, trainer)
    record(session, now, trainer, "password changed")
    tell_owner(session, now, trainer, "password")


def about_them(practice: Practice, name: str, email: str) -> tuple[str, ...]:
    """What is easily known about somebody, and therefore no good in a password."""
    return (name, email, practice.name, "rungwise")


def sign_out_everywhere(session: Session, now: datetime, trainer: Trainer) -> None:
    living = (col(SignIn.trainer_id) == trainer.id, col(SignIn.revoked_at).is_(None))
    session.execute(update(SignIn).where(*living).values(revoked_at=now))


def _new_trainer(session: Session, now: datetime, invited: Invited) -> Trainer:
    trainer = Trainer(
        practice_id=invited.practice.id,
        name=invited.name,
        email=invited.email,
        password_hash="",
        phone=invited.link.phone,
        role=invited.link.role,
        created_at=now,
    )
    session.add(trainer)
    session.flush()
    return trainer


def _make(session: Session, link: AccountLink) -> str:
    """Store the link with the hash of a new token; gives the token."""
    token = secrets.token_urlsafe(32)
    link.token_hash = _hash(token)
    session.add(link)
    session.flush()
    return token


def _end(session: Session, now: datetime, *which: object) -> int:
    """Take back the living links that meet the conditions; how many there were."""
    living = (col(AccountLink.used_at).is_(None), col(AccountLink.revoked_at).is_(None))
    ended = update(AccountLink).where(*living, *which).values(revoked_at=now)  # type: ignore[arg-type]
    return rows_updated(session, ended)


def _use(session: Session, now: datetime, link: AccountLink) -> int:
    """Only the transaction whose update counts takes the link up."""
    unused = (
        col(AccountLink.id) == link.id,
        col(AccountLink.used_at).is_(None),
        col(AccountLink.revoked_at).is_(None),
    )
    return rows_updated(session, update(AccountLink).where(*unused).values(used_at=now))


def _hash(token: str) -> str:
    return sha256(token.encode("utf-8", "replace")).hexdigest()
