"""Tokens by which other programs call the JSON API: made and revoked by the practice lead.

A token acts for one trainer and sees what that trainer sees, within its scopes. It is shown once;
only a hash of it is kept.
"""

import secrets
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256

from sqlalchemy import delete
from sqlmodel import Session, col, select

from rungwise.coach.record.access import require_lead
from rungwise.coach.record.audit import record
from rungwise.coach.record.fields import name_or_refuse
from rungwise.errors import ImpossibleValue, NotFound, ServiceError
from rungwise.store.tables import ApiAct, ApiToken, Practice, Trainer

# By their name in the API, and in words for the page.
SCOPES = {
    "clients:read": "see clients, their plans and ladders",
    "clients:write": "add clients",
    "reports:read": "see what clients reported, and the moves made of it",
    "reports:write": "enter days told by phone, and put right how texts were read",
    "messages:read": "see the texts with clients",
    "messages:write": "write to clients",
    "alerts:read": "see alerts with the client's words",
    "alerts:write": "handle alerts",
    "overrides:write": "place clients on another rung",
    "plans:write": "pause and resume plans",
}
LASTS_DAYS = (30, 90, 365)
MOST_TOKENS = 50
# So that programs that look for leaked secrets know it when they see it.
PREFIX = "rungwise_"
# For so long an action's key stands for what it was answered, which may quote a client.
ACTS_KEPT = timedelta(hours=24)


class EnoughTokens(ServiceError):
    """A practice has at most 50 tokens that work. Revoke one first."""


@dataclass(frozen=True, slots=True)
class NewToken:
    """What the lead fills in. `lasts_days` is one of LASTS_DAYS."""

    name: str
    trainer_id: int
    scopes: Collection[str]
    lasts_days: int


def make_token(session: Session, now: datetime, lead: Trainer, new: NewToken) -> str:
    """The token, to be shown once; only the lead may make one."""
    require_lead(lead)
    if len([one for one in tokens_of(session, lead.practice_id) if works(one, now)]) >= MOST_TOKENS:
        raise EnoughTokens
    name = name_or_refuse("name", new.name)
    trainer = session.get(Trainer, new.trainer_id)
    if trainer is None or trainer.practice_id != lead.practice_id or not trainer.active:
        raise ImpossibleValue("trainer", new.trainer_id, "somebody of the practice who can sign in")
    scopes = [scope for scope in SCOPES if scope in new.scopes]
    strange = sorted(set(new.scopes) - set(SCOPES))
    if not scopes or strange:
        raise ImpossibleValue("scopes", ", ".join(strange), "one or more of those listed")
    if new.lasts_days not in LASTS_DAYS:
        allowed = " or ".join(str(days) for days in LASTS_DAYS)
        raise ImpossibleValue("days", new.lasts_days, allowed)
    token = PREFIX + secrets.token_urlsafe(32)
    row = ApiToken(
        practice_id=lead.practice_id,
        trainer_id=trainer.id,
        name=name,
        token_hash=_hash(token),
        scopes=scopes,
        made_by=lead.id,
        made_at=now,
        expires_at=now + timedelta(days=new.lasts_days),
    )
    session.add(row)
    session.flush()
    record(
        session,
        now,
        lead,
        "token made",
        token=row.id,
        colleague=trainer.id,
        scopes=scopes,
        days=new.lasts_days,
    )
    return token


def revoke_token(session: Session, now: datetime, lead: Trainer, token_id: int) -> None:
    """End a token of one's own practice; NotFound for whoever is not its lead."""
    row = session.get(ApiToken, token_id)
    mine = row is not None and row.practice_id == lead.practice_id and lead.role == "lead"
    if row is None or not mine or not works(row, now):
        raise NotFound("There is no such token.")
    row.revoked_at = now
    session.add(row)
    record(session, now, lead, "token revoked", token=row.id)


def works(token: ApiToken, now: datetime) -> bool:
    return token.revoked_at is None and token.expires_at > now


def tokens_of(session: Session, practice_id: int) -> Sequence[ApiToken]:
    """Every token that the practice ever made, latest first."""
    rows = select(ApiToken).where(ApiToken.practice_id == practice_id)
    return session.exec(rows.order_by(col(ApiToken.id).desc())).all()


def who_calls(
    session: Session, now: datetime, token: str
) -> tuple[ApiToken, Trainer, Practice] | None:
    """The token's row, its trainer and practice; None unless it works and they can sign in."""
    rows = (
        select(ApiToken, Trainer, Practice)
        .join(Trainer, col(Trainer.id) == col(ApiToken.trainer_id))
        .join(Practice, col(Practice.id) == col(ApiToken.practice_id))
        .where(ApiToken.token_hash == _hash(token), col(Trainer.active).is_(True))
    )
    found = session.exec(rows).first()
    return found if found is not None and works(found[0], now) else None


def forget_old_acts(session: Session, now: datetime) -> None:
    """What programs were answered is kept for their repeats alone."""
    session.execute(delete(ApiAct).where(col(ApiAct.at) < now - ACTS_KEPT))


def _hash(token: str) -> str:
    return sha256(token.encode("utf-8", "replace")).hexdigest()
