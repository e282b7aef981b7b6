"""All that happened in an incident, in one line of time: texts, answers, pages and acts."""

from dataclasses import dataclass
from datetime import datetime
from math import inf
from typing import Literal

from sqlmodel import Session, col, select

from rungwise.coach.alerting.incidents import alerts_of
from rungwise.coach.alerting.paging import PageTold, pages_told
from rungwise.store.tables import AlertMessage, Audit, Client, Incident, Message, Trainer

ACTS = (
    "alert seen",
    "alert handled",
    "handling undone",
    "after a fall",
    "clinician's word",
    "page answered",
    "screened",
)


@dataclass(frozen=True, slots=True)
class Happened:
    """One thing: `said` a text of the client's or to them, `paged` a page, `did` an act of `who`,
    named by its action in the audit trail.
    """

    at: datetime
    what: Literal["told", "answered", "paged", "did"]
    who: str = ""
    said: Message | None = None
    page: PageTold | None = None
    did: str = ""

    @property
    def place(self) -> float:
        """Among what happened at one instant: in the order in which it was stored, acts last."""
        text = self.said or self.page
        return text.id if text is not None else inf


def timeline(session: Session, client: Client, incident: Incident) -> list[Happened]:
    """Everything of an incident, oldest first."""
    alert_ids = [alert.id for alert in alerts_of(session, incident.id)]
    told = _told(session, alert_ids)
    found = [Happened(each.created_at, "told", client.called, said=each) for each in told]
    found += _answers(session, client, [each.id for each in told])
    found += [
        Happened(page.queued_at, "paged", page.who, page=page)
        for page in pages_told(session, alert_ids)
    ]
    found += _acts(session, incident, set(alert_ids))
    return sorted(found, key=lambda one: (one.at, one.place))


def _told(session: Session, alert_ids: list[int]) -> list[Message]:
    rows = (
        select(Message)
        .join(AlertMessage, col(AlertMessage.message_id) == col(Message.id))
        .where(col(AlertMessage.alert_id).in_(alert_ids))
        .order_by(col(Message.id))
    )
    return list({each.id: each for each in session.exec(rows).all()}.values())


def _answers(session: Session, client: Client, told: list[int]) -> list[Happened]:
    rows = select(Message).where(col(Message.answers_id).in_(told), Message.direction == "out")
    return [
        Happened(each.created_at, "answered", client.called, said=each)
        for each in session.exec(rows.order_by(col(Message.id))).all()
    ]


def _acts(session: Session, incident: Incident, alert_ids: set[int]) -> list[Happened]:
    """What people did, from the audit trail; one look at several signs is one act."""
    rows = select(Audit).where(
        Audit.client_id == incident.client_id,
        col(Audit.at) >= incident.opened_at,
        col(Audit.action).in_(ACTS),
    )
    found: dict[tuple[datetime, int | None, str], Happened] = {}
    for line in session.exec(rows.order_by(col(Audit.number))).all():
        about = line.detail.get("alert") in alert_ids or line.detail.get("incident") == incident.id
        if not about and line.action != "screened":
            continue
        who = session.get(Trainer, line.trainer_id) if line.trainer_id is not None else None
        named = who.name if who is not None else "the service"
        if who is not None and line.detail.get("by") == "second contact":
            named = who.second_contact_name or "the second contact"
        did = line.action + (f" {line.detail['digit']}" if "digit" in line.detail else "")
        found.setdefault((line.at, line.trainer_id, did), Happened(line.at, "did", named, did=did))
    return list(found.values())
