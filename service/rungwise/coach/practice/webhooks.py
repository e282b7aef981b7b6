"""Webhooks as the practice lead sees them: made, tried, ended, and their latest calls."""

from collections.abc import Collection
from datetime import datetime

from sqlmodel import Session, col, select

from rungwise.carriers.hooks import new_secret
from rungwise.coach.outbox.change_feed import TOPICS, follow
from rungwise.coach.outbox.webhook_calls import end, living_webhooks, new_call
from rungwise.coach.record.access import require_lead
from rungwise.coach.record.audit import record
from rungwise.errors import ImpossibleValue, NotFound, ServiceError
from rungwise.store.tables import Trainer, Webhook, WebhookCall

MOST_HOOKS = 10


class EnoughWebhooks(ServiceError):
    """A practice has at most 10 webhooks. End one first."""


def add_webhook(
    session: Session,
    now: datetime,
    lead: Trainer,
    address: str,
    *,
    urgent_only: bool,
    topics: Collection[str] = (),
) -> Webhook:
    """A webhook to an address that was checked, with a new secret; only the lead may."""
    require_lead(lead)
    if len(living_webhooks(session, lead.practice_id)) >= MOST_HOOKS:
        raise EnoughWebhooks
    strange = sorted(set(topics) - set(TOPICS))
    if strange:
        raise ImpossibleValue("topics", ", ".join(strange), "some of those listed")
    hook = Webhook(
        practice_id=lead.practice_id,
        address=address,
        secret=new_secret(),
        urgent_only=urgent_only,
        topics=[topic for topic in TOPICS if topic in topics],
        made_by=lead.id,
        made_at=now,
    )
    session.add(hook)
    session.flush()
    if hook.topics:
        follow(session, now, lead.practice_id)
    record(session, now, lead, "webhook made", webhook=hook.id)
    return hook


def webhook_of(session: Session, lead: Trainer, webhook_id: int) -> Webhook:
    """A living webhook of the lead's practice; NotFound otherwise, and for whoever is no lead."""
    hook = session.get(Webhook, webhook_id)
    mine = hook is not None and hook.practice_id == lead.practice_id and lead.role == "lead"
    if hook is None or not mine or hook.ended_at is not None:
        raise NotFound("There is no such webhook.")
    return hook


def end_webhook(session: Session, now: datetime, lead: Trainer, webhook_id: int) -> None:
    hook = webhook_of(session, lead, webhook_id)
    end(session, now, hook, "Ended here.")
    record(session, now, lead, "webhook ended", webhook=hook.id)


def try_webhook(session: Session, now: datetime, lead: Trainer, webhook_id: int) -> None:
    """Call it once with nothing to tell."""
    hook = webhook_of(session, lead, webhook_id)
    session.add(new_call(now, hook, "webhook.try", {"webhook_id": hook.id}))
    record(session, now, lead, "webhook tried", webhook=hook.id)


def latest_calls(
    session: Session, practice_id: int, most: int
) -> list[tuple[WebhookCall, Webhook]]:
    """The latest calls of the practice's webhooks, latest first; ended webhooks' too."""
    rows = (
        select(WebhookCall, Webhook)
        .join(Webhook, col(Webhook.id) == col(WebhookCall.webhook_id))
        .where(Webhook.practice_id == practice_id)
        .order_by(col(WebhookCall.id).desc())
        .limit(most)
    )
    return list(session.exec(rows).all())
