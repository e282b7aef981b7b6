"""Whether texts may begin for a client: the screening on record, and the clinician's word."""

from sqlmodel import Session, col, select

from rungwise.errors import ServiceError
from rungwise.store.tables import Screening


class AskFirst(ServiceError):
    """The screening says to ask the client's clinician first. Record the answer, then begin."""


class NotByText(ServiceError):
    """The screening says that practice by text is not for this client. Screen again if it changed.

    Until then practise together at visits.
    """


def latest_screening(session: Session, client_id: int) -> Screening | None:
    """The screening that counts, or None if nobody was asked: added from the command line."""
    rows = select(Screening).where(Screening.client_id == client_id)
    return session.exec(rows.order_by(col(Screening.id).desc()).limit(1)).first()


def is_cleared(session: Session, client_id: int) -> bool:
    """Whether the client's screening lets texts begin."""
    try:
        refuse_uncleared(session, client_id)
    except (AskFirst, NotByText):
        return False
    return True


def refuse_uncleared(session: Session, client_id: int) -> None:
    """AskFirst or NotByText while the client's own answers stand against texts."""
    found = latest_screening(session, client_id)
    if found is None or found.outcome == "start":
        return
    if found.outcome == "not_by_text":
        raise NotByText
    if found.clinician_allows is not True:
        raise AskFirst
