"""How often a client is reviewed, and whether they want a weekly text."""

from sqlmodel import Session

from rungwise.store.tables import (
    ReviewRhythm,
)

USUAL_WEEKS = 6


def rhythm_of(session: Session, client_id: int) -> ReviewRhythm:
    """The client's rhythm, or the usual one, not stored yet."""
    found = session.get(ReviewRhythm, client_id)
    return found or ReviewRhythm(client_id=client_id, every_weeks=USUAL_WEEKS)
