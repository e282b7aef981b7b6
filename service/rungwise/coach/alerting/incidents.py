"""An incident: one episode of a client, with one chain of pages for all of its signs.

Signs told in one text, or while the episode is open, join it; so does whatever else of the client
is urgent. Its chain pages whoever is on duty, and again after 10, 20, 40 minutes and so on, until
somebody opens it, says by a digit that they have it, or handles it. A new sign begins it anew.
"""

import secrets
from collections.abc import Collection, Sequence
from datetime import datetime, timedelta

from sqlmodel import Session, col, or_, select

from rungwise.coach.alerting.duty import leads_of, whom_to_page
from rungwise.coach.alerting.paging import (
    link,
    note_handed_over,
    page_second,
    page_trainer,
    say_again,
    say_on,
    take_back,
)
from rungwise.concepts.alert_kinds import SIGN_KINDS, Urgency
from rungwise.store.due import clear_due, set_due
from rungwise.store.salvage import salvage, salvage_one
from rungwise.store.tables import (
    Alert,
    AlertPage,
    Client,
    Incident,
    Message,
    Practice,
    Trainer,
)

LONGEST_PAGE_WAIT_MINUTES = 240
# What somebody opened, or said that they have, and did not handle is paged again after this.
HANDLED_WITHIN = timedelta(minutes=30)
SEEN_ONLY = "It was opened and not handled for 30 minutes, so it was paged again."
HELD_ONLY = "Somebody had it and did not handle it in time, so it was paged again."
CODE_FREE_AFTER = timedelta(hours=24)
# No letter that can be taken for another; about 40 bits, and the page behind it wants a sign-in.
LINK_ALPHABET = "23456789abcdefghjkmnpqrstuvwxyz"
LINK_LETTERS = 8


def open_incident(session: Session, client_id: int) -> Incident | None:
    """The client's open episode, if there is one."""
    rows = select(Incident).where(
        Incident.client_id == client_id, col(Incident.closed_at).is_(None)
    )
    return session.exec(rows.order_by(col(Incident.id).desc()).limit(1)).first()


def join(session: Session, now: datetime, alert: Alert) -> Incident | None:
    """The incident of this alert, which it joins or opens; None for what is of no incident."""
    if alert.incident_id is not None:
        return session.get_one(Incident, alert.incident_id)
    if alert.kind not in SIGN_KINDS and alert.urgency != Urgency.URGENT:
        return None
    incident = open_incident(session, alert.client_id)
    if incident is None:
        incident = Incident(
            practice_id=alert.practice_id,
            client_id=alert.client_id,
            code=_free_code(session, now, alert.practice_id),
            link="".join(secrets.choice(LINK_ALPHABET) for _ in range(LINK_LETTERS)),
            # An earlier version's alert was paged already.
            pages=alert.pages,
            opened_at=now,
        )
        session.add(incident)
        session.flush()
    alert.incident_id = incident.id
    session.add(alert)
    session.flush()
    return incident


def _free_code(session: Session, now: datetime, practice_id: int) -> str:
    """Two digits that no other incident of the practice had lately."""
    rows = select(Incident.code).where(
        Incident.practice_id == practice_id,
        or_(
            col(Incident.closed_at).is_(None),
            col(Incident.closed_at) > now - CODE_FREE_AFTER,
        ),
    )
    taken = set(session.exec(rows).all())
    every = [str(number) for number in range(10, 100)]
    return secrets.choice([code for code in every if code not in taken] or every)


def alerts_of(session: Session, incident_id: int) -> list[Alert]:
    """Everything of an incident, in the order in which it was opened."""
    rows = select(Alert).where(Alert.incident_id == incident_id)
    return list(session.exec(rows.order_by(col(Alert.id))).all())


def open_alerts_of(session: Session, incident_id: int) -> list[Alert]:
    return [alert for alert in alerts_of(session, incident_id) if alert.state != "handled"]


def _to_page(session: Session, incident: Incident) -> list[Alert]:
    """What nobody has seen yet and somebody must."""
    return [
        alert
        for alert in open_alerts_of(session, incident.id)
        if alert.urgency == Urgency.URGENT and alert.state == "new"
    ]


def grew(
    session: Session,
    now: datetime,
    practice: Practice,
    client: Client,
    alert: Alert,
    *,
    anew: bool,
) -> None:
    """An urgent alert was opened or grew: page at once, unless the chain tells of it already.

    `anew`: something new was told, so that the chain begins again whatever was opened or answered.
    What is no sign, such as a text that did not arrive, only goes with a chain that is running.
    """
    incident = join(session, now, alert)
    if incident is None:
        return
    running = _runs(session, now, incident, alert)
    if running and alert.kind not in SIGN_KINDS:
        _go_with(session, incident, alert)
        return
    page(session, now, practice, client, incident, anew=anew or not running)


def _runs(session: Session, now: datetime, incident: Incident, alert: Alert) -> bool:
    """Whether pages about something else of this incident go on."""
    held = incident.held_until is not None and incident.held_until > now
    others = [one for one in _to_page(session, incident) if one.id != alert.id]
    return bool(others) and not held


def _go_with(session: Session, incident: Incident, alert: Alert) -> None:
    """The pages that went tell of this too: who opens the incident sees it."""
    others = [one.id for one in _to_page(session, incident) if one.id != alert.id]
    pages = _pages(session, others)
    link(session, alert, [page.id for page in pages])
    if pages:
        note_handed_over(session, pages[-1])


def page(
    session: Session,
    now: datetime,
    practice: Practice,
    client: Client,
    incident: Incident,
    second: Trainer | None = None,
    also: Sequence[Trainer] = (),
    passed_by: Collection[str] = (),
    *,
    anew: bool = False,
) -> None:
    """One step of the chain: page whoever is on duty, the second contact of `second` and `also`
    these, and set the next step, each after twice as long, at most 4 hours.

    `anew` begins the chain afresh. `passed_by`: the numbers of those who cannot, left out as long
    as somebody else is there.
    """
    alerts = _to_page(session, incident)
    if not alerts:
        return
    at_once = _pages(session, [one.id for one in alerts], now)
    paged = {each.trainer_id for each in at_once}
    # Who was paged at this very instant sees all of it: a second text would blunt the first.
    whom = (*whom_to_page(session, now, practice, client), *also)
    fresh = second is not None or any(one.id not in paged for one in whom)
    if fresh:
        if anew:
            incident.pages, incident.held_until, incident.held_by = 0, None, None
        incident.pages += 1
        session.add(incident)
        session.flush()
        at_once = _page_all(session, now, practice, client, alerts, second, also, passed_by)
        minutes = min(
            practice.escalate_minutes * 2 ** (incident.pages - 1), LONGEST_PAGE_WAIT_MINUTES
        )
        set_due(session, "chain", incident.id, now + timedelta(minutes=minutes))
    for alert in alerts:
        link(session, alert, [each.id for each in at_once])
    if not fresh:
        say_again(session, now, practice, at_once)


def _page_all(
    session: Session,
    now: datetime,
    practice: Practice,
    client: Client,
    alerts: Sequence[Alert],
    second: Trainer | None,
    also: Sequence[Trainer],
    passed_by: Collection[str],
) -> list[Message]:
    queued: list[Message] = []
    if second is not None and second.second_contact_phone not in passed_by:
        paged = page_second(session, now, practice, second, alerts)
        queued += [paged] if paged is not None else []
    whom = {one.id: one for one in (*whom_to_page(session, now, practice, client), *also)}
    able = [one for one in whom.values() if one.phone not in passed_by]
    for trainer in able or ([] if queued else list(whom.values())):
        queued += page_trainer(session, now, practice, trainer, alerts)
    return queued


def _pages(session: Session, alert_ids: Sequence[int], at: datetime | None = None) -> list[Message]:
    """The pages about any of these that were not taken back; `at`: only those of this instant."""
    rows = (
        select(Message.id)
        .join(AlertPage, col(AlertPage.message_id) == col(Message.id))
        .where(col(AlertPage.alert_id).in_(alert_ids), col(Message.state) != "cancelled")
        .distinct()
    )
    if at is not None:
        rows = rows.where(col(Message.created_at) == at)
    ids = sorted(session.exec(rows).all())
    return [each.row for each in salvage(session, Message, ids)]


def page_again(session: Session, now: datetime, incident_id: int) -> None:
    """Nobody has dealt with it in time: the second contact and the trainer again.

    Who has named no second contact has the practice leads for one. One that somebody had and did
    not handle is new again, and its pages begin anew, with the trainer.
    """
    incident = session.get(Incident, incident_id)
    if incident is None or incident.closed_at is not None:
        return
    urgent = [
        alert for alert in open_alerts_of(session, incident.id) if alert.urgency == Urgency.URGENT
    ]
    if not urgent:
        return
    client = salvage_one(session, Client, incident.client_id).row
    practice = salvage_one(session, Practice, incident.practice_id).row
    seen = [alert for alert in urgent if alert.state == "seen"]
    if incident.held_until is not None or len(seen) == len(urgent):
        for alert in seen:
            alert.state = "new"
        say_on(session, urgent, SEEN_ONLY if seen else HELD_ONLY)
        session.flush()
        page(session, now, practice, client, incident, anew=True)
        return
    _next(session, now, practice, client, incident)


def _next(
    session: Session,
    now: datetime,
    practice: Practice,
    client: Client,
    incident: Incident,
    passed_by: Collection[str] = (),
) -> None:
    trainer = salvage_one(session, Trainer, client.trainer_id).row
    leads = [] if trainer.second_contact_phone else leads_of(session, practice)
    page(session, now, practice, client, incident, trainer, leads, passed_by)


def hold(
    session: Session, now: datetime, incident: Incident, until: datetime, by: int | None
) -> None:
    """Somebody has it: no pages until then, and then anew if it is not handled."""
    incident.held_until, incident.held_by = until, by
    session.add(incident)
    urgent = False
    for alert in open_alerts_of(session, incident.id):
        take_back(session, now, alert)
        urgent = urgent or alert.urgency == Urgency.URGENT
    if urgent:
        set_due(session, "chain", incident.id, until)


def pass_on(
    session: Session, now: datetime, incident: Incident, passed_by: Collection[str]
) -> None:
    """Whoever was paged cannot: the next people are paged at once."""
    client = salvage_one(session, Client, incident.client_id).row
    practice = salvage_one(session, Practice, incident.practice_id).row
    incident.held_until = incident.held_by = None
    _next(session, now, practice, client, incident, passed_by)


def close_if_done(session: Session, now: datetime, alert: Alert) -> None:
    """The incident ends when the last of its alerts is handled."""
    if alert.incident_id is None or open_alerts_of(session, alert.incident_id):
        return
    incident = session.get_one(Incident, alert.incident_id)
    incident.closed_at, incident.held_until, incident.held_by = now, None, None
    session.add(incident)
    clear_due(session, "chain", incident.id)


def reopen(session: Session, now: datetime, alert: Alert) -> None:
    """Handling was taken back: the alert is of an open incident again, and somebody has it."""
    newer = open_incident(session, alert.client_id)
    incident = newer or (
        session.get(Incident, alert.incident_id) if alert.incident_id is not None else None
    )
    if incident is None or (newer is not None and alert.incident_id is None):
        return
    alert.incident_id = incident.id
    incident.closed_at = incident.cleared_at = None
    session.add(alert)
    session.flush()
    hold(session, now, incident, now + HANDLED_WITHIN, alert.seen_by)
