"""Whether a practice wants the second reader, which doubts texts where the lists hear no harm."""

from datetime import datetime

from sqlmodel import Session

from rungwise.coach.record.access import require_lead
from rungwise.coach.record.audit import record
from rungwise.store.tables import Practice, Trainer


def switch_second_reader(session: Session, now: datetime, lead: Trainer, *, on: bool) -> None:
    """Switch it on or off for the texts that come from now on; only the lead may."""
    require_lead(lead)
    practice = session.get_one(Practice, lead.practice_id)
    if practice.second_reader == on:
        return
    practice.second_reader = on
    session.add(practice)
    record(session, now, lead, "second reader", on=on)
