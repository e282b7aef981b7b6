"""Hashes each day that is over, and writes to the log where every audit trail ends."""

import logging

from rungwise.clock import Clock
from rungwise.coach.record.audit import ends
from rungwise.coach.record.day_seals import seal_days
from rungwise.store import Store

log = logging.getLogger(__name__)

EVERY_S = 900.0


def day_seal_tick(store: Store, clock: Clock) -> int:
    """Seal the days that are over; how many. The log is a place outside the database."""
    sealed = seal_days(store, clock.now())
    if sealed:
        with store.read() as session:
            for end in ends(session):
                where = (end.practice_id, end.count, end.hash)
                log.info("the audit trail of practice %d has %d lines; last hash %s", *where)
    return sealed
