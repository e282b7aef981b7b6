"""One alert, for who may see it; and whether a person looks, which stops the pages about it."""

from fastapi import Request
from sqlmodel import Session

from rungwise.coach.alerting.alerts import see
from rungwise.coach.record.access import client_of
from rungwise.errors import NotFound
from rungwise.store.tables import Alert, Client, Trainer
from rungwise.web.http.auth import Visit


def alert_of(session: Session, trainer: Trainer, alert_id: int) -> tuple[Alert, Client]:
    """The alert and its client, if this trainer may see them; NotFound otherwise."""
    alert = session.get(Alert, alert_id)
    if alert is None:
        raise NotFound("There is no such alert among yours.")
    return alert, client_of(session, trainer, alert.client_id)


def look_at(visit: Visit, request: Request, alert_id: int) -> None:
    """Note that this trainer has seen an alert, with all of its incident, if a person looks."""
    if is_a_look(request):
        with visit.parts.store.write() as session:
            see(session, visit.now, visit.trainer, session.get_one(Alert, alert_id))


def is_a_look(request: Request) -> bool:
    """Whether a person opened the page: not a preloading browser, not another site's link."""
    ahead = "prefetch" in request.headers.get("sec-purpose", "")
    return not ahead and request.headers.get("sec-fetch-site", "none") != "cross-site"
