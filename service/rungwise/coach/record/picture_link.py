"""Links to the picture of a rung: unguessable, expiring, revocable, with nothing personal behind.

Whoever has the address sees how to stand and what to mind, for as long as the client is on that
rung and practises; never who it is for. Only a hash of the address is kept, except in the text
that carried it.
"""

import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256

from sqlalchemy import delete
from sqlmodel import Session, col, select

from rungwise.coach.record.audit import record
from rungwise.coach.record.codec import PlanSettings
from rungwise.coach.record.situation import Situation, load
from rungwise.errors import NotFound
from rungwise.store.tables import Client, PictureLink, Practice, Trainer

# Without letters that are taken for each other; 16 of 54 are 92 bits.
ALPHABET = "23456789abcdefghijkmnpqrstuvwxyzABCDEFGHJKLMNPQRSTUVWXYZ"
TOKEN_LETTERS = 16
PATH = "/p/"
# A prompt's link must still open the next morning; one that the trainer hands out may last.
PROMPT_LASTS = timedelta(hours=36)
CHOICES_DAYS = (1, 7, 28)


def hashed(token: str) -> str:
    return sha256(token.encode()).hexdigest()


def make_link(
    session: Session,
    now: datetime,
    situation: Situation,
    lasts: timedelta,
    trainer: Trainer,
) -> str:
    """A new link's token for the rung the client is on, handed out by a trainer."""
    token, client_id = _drawn(), situation.client_id
    keep_link(session, now, client_id, situation.placement.rung_key, token, lasts, trainer)
    record(session, now, trainer, "picture link", client_id=client_id, days=lasts.days)
    return token


def _drawn() -> str:
    return "".join(secrets.choice(ALPHABET) for _ in range(TOKEN_LETTERS))


def keep_link(
    session: Session,
    now: datetime,
    client_id: int,
    rung_key: str,
    address: str,
    lasts: timedelta = PROMPT_LASTS,
    trainer: Trainer | None = None,
) -> None:
    """From now on this address, or its token, opens. Expired ones of this client are removed."""
    session.execute(
        delete(PictureLink).where(
            col(PictureLink.client_id) == client_id, col(PictureLink.expires_at) < now
        )
    )
    session.add(
        PictureLink(
            client_id=client_id,
            token_hash=hashed(address.rpartition("/")[2]),
            rung_key=rung_key,
            made_by=trainer.id if trainer else None,
            made_at=now,
            expires_at=now + lasts,
        )
    )


def address_of(base: str, token: str) -> str:
    """The whole address, as short as it can be."""
    return f"{base.rstrip('/')}{PATH}{token}"


def drawn_address(practice: Practice, settings: PlanSettings) -> str:
    """An address for today's prompt, or nothing where the plan or the practice has no links.

    It opens once `keep_link` has kept it.
    """
    base = practice.picture_address
    return address_of(base, _drawn()) if settings.picture_link and base else ""


def sample_link(situation: Situation) -> str:
    """What stands in a preview: as long as a real link, and leading nowhere."""
    base = situation.practice.picture_address
    if not situation.settings.picture_link or not base:
        return ""
    return address_of(base, "x" * TOKEN_LETTERS)


@dataclass(frozen=True, slots=True)
class Shown:
    """What a living link shows."""

    situation: Situation
    expires_at: datetime


def shown_by(session: Session, now: datetime, token: str) -> Shown | None:
    """What this link shows, or None if it is unknown, expired, revoked or about an earlier rung.

    A client who rests, paused or ended the texts is shown no task at all.
    """
    rows = (
        select(PictureLink, Client)
        .join(Client, col(Client.id) == col(PictureLink.client_id))
        .where(
            PictureLink.token_hash == hashed(token),
            col(PictureLink.revoked_at).is_(None),
            PictureLink.expires_at > now,
            Client.state == "active",
        )
    )
    found = session.exec(rows).first()
    if found is None:
        return None
    link, client = found
    situation = load(session, client)
    if situation is None or situation.placement.rung_key != link.rung_key:
        return None
    if link.rung_key not in situation.ladder:
        return None
    return Shown(situation, link.expires_at)


def living_links(session: Session, now: datetime, client_id: int) -> list[PictureLink]:
    """The client's links that still open, latest first."""
    rows = select(PictureLink).where(
        PictureLink.client_id == client_id,
        col(PictureLink.revoked_at).is_(None),
        PictureLink.expires_at > now,
    )
    return list(session.exec(rows.order_by(col(PictureLink.id).desc())).all())


def revoke(
    session: Session, now: datetime, trainer: Trainer, client_id: int, link_id: int
) -> PictureLink:
    """The link opens no more, from now on."""
    link = session.get(PictureLink, link_id)
    if link is None or link.client_id != client_id:
        raise NotFound("There is no such link of this client.")
    if link.revoked_at is None:
        link.revoked_at = now
        session.add(link)
        record(session, now, trainer, "picture link revoked", client_id=client_id)
    return link
