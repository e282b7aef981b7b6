"""Which account an organisation's own sign-in opens: the one that its trainer linked, and no other.

An e-mail address may pass to somebody else in an organisation, so it opens nothing by itself. It
is looked at once, when a signed-in trainer links the two; from then on issuer and subject decide.
"""

from datetime import datetime

from sqlalchemy import delete
from sqlmodel import Session, col, select

from rungwise.coach.accounts.sign_in_notices import tell_owner
from rungwise.coach.record.audit import record
from rungwise.errors import ServiceError
from rungwise.store.tables import OrganisationSignIn, Trainer


class NotLinked(ServiceError):
    """That sign-in of your organisation opens no account here yet. Sign in with your password,
    press your name, and link it there."""


class AnothersSignIn(ServiceError):
    """Your organisation knows who signed in there by another e-mail address, or has not verified
    it, so nothing was linked. Sign in there as yourself, or ask for the address to be put right."""


class LinkedElsewhere(ServiceError):
    """That sign-in of your organisation already opens an account here, or yours is linked to
    another. Take the old link off first."""


def linked_of(session: Session, trainer: Trainer) -> OrganisationSignIn | None:
    """What the trainer linked last."""
    rows = select(OrganisationSignIn).where(OrganisationSignIn.trainer_id == trainer.id)
    return session.exec(rows.order_by(col(OrganisationSignIn.id).desc())).first()


def whose_account(session: Session, now: datetime, issuer: str, subject: str) -> Trainer:
    """The trainer who linked this sign-in and may still sign in; NotLinked without one."""
    rows = (
        select(OrganisationSignIn, Trainer)
        .join(Trainer, col(Trainer.id) == col(OrganisationSignIn.trainer_id))
        .where(*_this(issuer, subject), col(Trainer.active).is_(True))
    )
    found = session.exec(rows).first()
    if found is None:
        raise NotLinked
    linked, trainer = found
    linked.used_at = now
    return trainer


def link(
    session: Session,
    now: datetime,
    trainer: Trainer,
    issuer: str,
    subject: str,
    email: str | None,
) -> None:
    """From now on this sign-in opens the trainer's account, if the organisation has verified that
    the address is theirs.
    """
    if email is None or email != trainer.email:
        raise AnothersSignIn
    mine = (
        OrganisationSignIn.trainer_id == trainer.id,
        OrganisationSignIn.issuer == issuer,
    )
    for which in (mine, _this(issuer, subject)):
        if session.exec(select(OrganisationSignIn.id).where(*which)).first() is not None:
            raise LinkedElsewhere
    session.add(
        OrganisationSignIn(trainer_id=trainer.id, issuer=issuer, subject=subject, linked_at=now)
    )
    session.flush()
    record(session, now, trainer, "organisation sign-in linked", issuer=issuer)
    tell_owner(session, now, trainer, "organisation")


def unlink(session: Session, now: datetime, trainer: Trainer) -> None:
    """No organisation's sign-in opens the account any more."""
    if linked_of(session, trainer) is None:
        return
    mine = delete(OrganisationSignIn).where(col(OrganisationSignIn.trainer_id) == trainer.id)
    session.execute(mine)
    record(session, now, trainer, "organisation sign-in unlinked")
    tell_owner(session, now, trainer, "organisation")


def _this(issuer: str, subject: str) -> tuple[bool, bool]:
    return OrganisationSignIn.issuer == issuer, OrganisationSignIn.subject == subject
