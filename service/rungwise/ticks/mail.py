"""The tick that sends the trainers' weekly e-mails, outside of any transaction."""

import logging

from rungwise.carriers.email import MailServer, NotSent
from rungwise.clock import Clock
from rungwise.coach.reviews.weekly_email import claim_digest, put_back, taken
from rungwise.store import Store

log = logging.getLogger(__name__)

MOST_AT_ONCE = 20


def mail_tick(store: Store, server: MailServer, clock: Clock, address: str) -> int:
    """Send what is due; returns how many were tried. `address` is the service's own."""
    for tried in range(MOST_AT_ONCE):
        claimed = claim_digest(store, clock.now(), address)
        if claimed is None:
            return tried
        trainer_id, message = claimed
        try:
            server.send(message)
        except NotSent as problem:
            log.warning("the weekly e-mail to trainer %s: %s", trainer_id, problem)
            put_back(store, clock.now(), trainer_id, again=problem.again)
        else:
            taken(store, trainer_id)
    return MOST_AT_ONCE
