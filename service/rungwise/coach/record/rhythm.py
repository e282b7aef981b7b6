"""How often a client is reviewed, and what of the calendar they want."""

from datetime import datetime

from sqlmodel import Session

from rungwise.coach.record.audit import record
from rungwise.store.tables import Client, ReviewRhythm, Trainer

USUAL_WEEKS = 6


def rhythm_of(session: Session, client_id: int) -> ReviewRhythm:
    """The client's rhythm, or the usual one, not stored yet."""
    found = session.get(ReviewRhythm, client_id)
    return found or ReviewRhythm(client_id=client_id, every_weeks=USUAL_WEEKS)


def set_wanted(
    session: Session, now: datetime, trainer: Trainer, client: Client, what: str, wanted: bool
) -> None:
    """Whether the client wants `what`, a yes or no of the rhythm; a change is in the trail."""
    rhythm = rhythm_of(session, client.id)
    if getattr(rhythm, what) != wanted:
        act = what.replace("_", " ")
        record(session, now, trainer, act, client_id=client.id, wanted=wanted)
    setattr(rhythm, what, wanted)
    session.add(rhythm)
    session.flush()
