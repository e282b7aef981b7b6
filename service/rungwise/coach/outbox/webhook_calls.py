"""What webhooks are told of alerts, and what became of each call.

What is told is stored in the transaction of what it tells of, and called later by a tick. It holds
kinds, ids and times: who wants the client's words reads them with a token.
"""

import json
import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import tenacity
from sqlalchemy import delete, update
from sqlmodel import Session, col, select

from rungwise.carriers.hooks import HookAnswer, HookCall
from rungwise.coach.outbox.circuit import wait_s
from rungwise.store.tables import Alert, Webhook, WebhookCall

KINDS = {
    "alert.opened": "an alert was opened",
    "alert.grew": "an open alert became urgent, or the client sent more words",
    "alert.handled": "somebody handled an alert",
    "alert.reopened": "the handling of an alert was taken back",
    "day.told": "a client told of a day, or corrected it (topic days)",
    "move.decided": "the rule or a trainer moved a client, or let them stay (topic moves)",
    "retest.recorded": "a trainer recorded a retest (topic retests)",
    "client.stopped": "a client's texts have stopped (topic stops)",
    "webhook.try": "somebody pressed the button that tries a webhook",
}
# Longer than any call takes; a process that dies over one leaves it due again after this.
LEASE = timedelta(minutes=1)
GIVE_UP_AFTER = timedelta(hours=24)
KEPT = timedelta(days=30)
WAITS = tenacity.wait_exponential_jitter(multiplier=5, max=3600, jitter=5)
# At once to one address, so that one which does not answer holds up no other.
MOST_EACH = 4


def living_webhooks(session: Session, practice_id: int) -> list[Webhook]:
    rows = select(Webhook).where(
        Webhook.practice_id == practice_id, col(Webhook.ended_at).is_(None)
    )
    return list(session.exec(rows.order_by(col(Webhook.id))).all())


# --- what is told ---------------------------------------------------------------------------------


def tell_of_alert(session: Session, now: datetime, alert: Alert, kind: str) -> None:
    """Store what the practice's webhooks will be told of this alert, in this transaction."""
    hooks = living_webhooks(session, alert.practice_id)
    data = {
        "alert_id": alert.id,
        "client_id": alert.client_id,
        "kind": alert.kind,
        "urgency": alert.urgency,
        "state": alert.state,
        "opened_at": alert.opened_at.isoformat(),
    }
    for hook in hooks:
        if alert.urgency == "urgent" or not hook.urgent_only:
            session.add(new_call(now, hook, kind, data, alert.id))


def new_call(
    now: datetime,
    hook: Webhook,
    kind: str,
    data: dict[str, object],
    alert_id: int | None = None,
) -> WebhookCall:
    body = {"type": kind, "timestamp": now.isoformat(), "data": data}
    return WebhookCall(
        webhook_id=hook.id,
        alert_id=alert_id,
        kind=kind,
        called=f"msg_{secrets.token_hex(16)}",
        body=json.dumps(body, separators=(",", ":")),
        made_at=now,
        at=now,
    )


# --- calling --------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Claimed:
    """A call to make now. `attempt` tells it from other tries."""

    id: int
    webhook_id: int
    attempt: int
    call: HookCall


def any_due(session: Session, now: datetime) -> bool:
    due = select(WebhookCall.id).where(
        col(WebhookCall.settled_at).is_(None), col(WebhookCall.at) <= now
    )
    return session.exec(due.limit(1)).first() is not None


def claim_calls(session: Session, now: datetime, most: int) -> list[Claimed]:
    """Take calls that are due, the oldest first and few of each webhook."""
    rows = (
        select(WebhookCall, Webhook)
        .join(Webhook, col(Webhook.id) == col(WebhookCall.webhook_id))
        .where(col(WebhookCall.settled_at).is_(None), col(WebhookCall.at) <= now)
        .order_by(col(WebhookCall.at), col(WebhookCall.id))
        .limit(10 * most)
        .with_for_update(skip_locked=True, of=WebhookCall)
    )
    each: dict[int, int] = {}
    claimed: list[Claimed] = []
    for row, hook in session.exec(rows).all():
        each[hook.id] = each.get(hook.id, 0) + 1
        if each[hook.id] > MOST_EACH or len(claimed) >= most:
            continue
        row.state, row.at, row.attempts = "calling", now + LEASE, row.attempts + 1
        session.add(row)
        call = HookCall(hook.address, hook.secret, row.called, row.body)
        claimed.append(Claimed(row.id, hook.id, row.attempts, call))
    return claimed


def settle_calls(
    session: Session, now: datetime, answers: Sequence[tuple[Claimed, HookAnswer]]
) -> None:
    """Store what became of calls. One whose client was erased meanwhile is gone."""
    for claimed, answer in answers:
        row = session.get(WebhookCall, claimed.id, with_for_update=True)
        if row is None or row.settled_at is not None or row.attempts != claimed.attempt:
            continue
        hook = session.get_one(Webhook, row.webhook_id)
        row.problem = answer.problem or None
        if not answer.problem:
            row.state, row.settled_at = "taken", now
        elif answer.gone and hook.ended_at is None:
            session.add(row)
            session.flush()
            end(session, now, hook, "Its address answered that it is gone (410).")
            continue
        elif now - row.made_at >= GIVE_UP_AFTER:
            row.state, row.settled_at = "given_up", now
        else:
            row.state = "waiting"
            row.at = now + timedelta(seconds=wait_s(WAITS, row.attempts))
            _hold_others(session, row)
        session.add(row)


def _hold_others(session: Session, failed: WebhookCall) -> None:
    """What waits for the same webhook waits as long: an address that fails is asked seldom."""
    session.execute(
        update(WebhookCall)
        .where(
            col(WebhookCall.webhook_id) == failed.webhook_id,
            col(WebhookCall.state) == "waiting",
            col(WebhookCall.settled_at).is_(None),
            col(WebhookCall.at) < failed.at,
        )
        .values(at=failed.at)
    )


def forget_old_calls(session: Session, now: datetime) -> None:
    """What was settled a month ago is nobody's concern any more."""
    session.execute(delete(WebhookCall).where(col(WebhookCall.settled_at) < now - KEPT))


def end(session: Session, now: datetime, hook: Webhook, why: str) -> None:
    """Call it no more, whatever still waits."""
    hook.ended_at, hook.why_ended = now, why
    session.add(hook)
    session.execute(
        update(WebhookCall)
        .where(col(WebhookCall.webhook_id) == hook.id, col(WebhookCall.settled_at).is_(None))
        .values(state="given_up", settled_at=now, problem="The webhook was ended.")
    )
