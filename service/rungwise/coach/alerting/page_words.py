"""What a page says: who, what, which number to ring, where to look and how to answer."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlmodel import Session, func, select

from rungwise.coach.record.wording import wording_of
from rungwise.concepts.alert_kinds import ALERT_KINDS
from rungwise.store.database import PUBLIC_URL
from rungwise.store.salvage import salvage_one
from rungwise.store.tables import Alert, AlertMessage, Client, Incident, Message, Practice, Trainer
from rungwise.wording.segments import to_gsm7
from rungwise.wording.texts import alert_words, render, word

MINUTE = timedelta(minutes=1)
LONGEST_WAIT_SAID = 9999 * MINUTE
LONGEST_SAID = 100


@dataclass(frozen=True, slots=True)
class PageWords:
    """The same page as a text, which names the client, and as e-mail, which names nobody."""

    text: str
    email: str


def link_to(session: Session, incident: Incident) -> str:
    """The short address that opens the incident; empty where nobody set where the service is."""
    base = session.info.get(PUBLIC_URL, "")
    return f"{base}/i/{incident.link}" if base else ""


def waited(now: datetime, alert: Alert) -> timedelta:
    """How long an alert has waited, at most what a text has room for."""
    return min(max(now - alert.opened_at, timedelta(0)), LONGEST_WAIT_SAID)


def page_words(
    session: Session, now: datetime, practice: Practice, alerts: Sequence[Alert]
) -> PageWords:
    """What a page about these alerts says, in the practice's language and own words.

    About one client it names the gravest alert; about several it says how many clients.
    """
    own = wording_of(session, practice.id, practice.language)
    clients = {alert.client_id for alert in alerts}
    if len(clients) > 1:
        many = render("page_many", practice.language, own, count=len(clients))
        return PageWords(many, many)
    lead = gravest(alerts)
    incident = incident_of(session, lead)
    again = "_again" if incident is not None and incident.pages > 1 else ""
    kind = alert_words(lead.kind, practice.language)
    client = salvage_one(session, Client, lead.client_id).row
    link = link_to(session, incident) if incident is not None else ""
    text = render(
        f"page{again}",
        practice.language,
        own,
        called=client.called,
        kind=kind,
        code=incident.code if incident is not None else "",
        phone=numbers_of(client, practice.language),
        link=link or word("open_inbox", practice.language),
        minutes=int(waited(now, lead) / MINUTE),
    )
    if practice.words_in_pages and (said := _last_said(session, lead)):
        text = f'{text} "{said}"'
    letter = render(f"page_email{again}", practice.language, own, kind=kind)
    return PageWords(text, f"{letter}\n{link}".rstrip())


def _last_said(session: Session, alert: Alert) -> str:
    """What the client last wrote of it, cut for a text; empty where they wrote nothing."""
    rows = select(func.max(AlertMessage.message_id)).where(AlertMessage.alert_id == alert.id)
    number = session.exec(rows).one()
    if number is None:
        return ""
    words = " ".join(to_gsm7(salvage_one(session, Message, number).row.body).split())
    return words if len(words) <= LONGEST_SAID else f"{words[: LONGEST_SAID - 3].rstrip()}..."


def second_words(session: Session, practice: Practice, trainer: Trainer, alert: Alert) -> str:
    incident = incident_of(session, alert)
    client = salvage_one(session, Client, alert.client_id).row
    return render(
        "page_second",
        practice.language,
        wording_of(session, practice.id, practice.language),
        practice=practice.name,
        called=_with_numbers(client, practice.language),
        kind=alert_words(alert.kind, practice.language),
        trainer=trainer.name,
        code=incident.code if incident is not None else "",
    )


def numbers_of(client: Client, language: str) -> str:
    """The client's number, and that of their next of kin if it is known."""
    kin = f", {word('next_of_kin', language)} {client.kin_phone}" if client.kin_phone else ""
    return f"{client.phone}{kin}"


def _with_numbers(client: Client, language: str) -> str:
    """Whom to call; by which numbers only where the client agreed that this contact has them."""
    if not client.number_to_second:
        return client.called
    return f"{client.called}, {numbers_of(client, language)},"


def incident_of(session: Session, alert: Alert) -> Incident | None:
    """The alert's incident; None for one of an earlier version that nothing has touched since."""
    return session.get(Incident, alert.incident_id) if alert.incident_id is not None else None


def gravest(alerts: Sequence[Alert]) -> Alert:
    """The one that a page about all of these names: a page names one only."""
    return min(alerts, key=lambda alert: ALERT_KINDS.index(alert.kind))
