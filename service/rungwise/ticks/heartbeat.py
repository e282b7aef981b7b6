"""The heartbeat: an address that is asked for every minute, for as long as all is well.

An outside monitor that knows the address notices when it is asked for no more: because the process
or the machine is gone, the ticks have stopped, or texts do not leave. The request carries where
each practice's audit trail ends, so that the monitor's log can tell a trail that was made anew.
"""

import logging
from datetime import UTC, datetime

import httpx

from rungwise.clock import Clock
from rungwise.coach.monitoring.health import health
from rungwise.coach.record.audit import ends
from rungwise.logs import named
from rungwise.store import Store

log = logging.getLogger(__name__)

EVERY_S = 60.0
WITHIN_S = 10.0
TRAILS = "X-Rungwise-Audit"
# What servers take of a header is commonly 8 kB and less.
LONGEST_HEADER = 4000


def heartbeat_client() -> httpx.Client:
    return httpx.Client(timeout=WITHIN_S, headers={"User-Agent": "rungwise"})


def heartbeat_tick(store: Store, clock: Clock, http: httpx.Client, url: str) -> bool:
    """Ask for the address if the service is well; whether that was answered with a 2xx."""
    with store.read() as session:
        found = health(session, clock.now(), datetime.now(UTC), ticks=True)
        trails = " ".join(f"{one.practice_id}:{one.count}:{one.hash}" for one in ends(session))
    if not found.well:
        log.warning("no heartbeat, for the service is not well: %s", " ".join(found.problems))
        return False
    try:
        answer = http.get(url, headers={TRAILS: trails[:LONGEST_HEADER]})
    except httpx.HTTPError as problem:
        # The address is a secret of the monitor's, and stays out of the log.
        log.warning("the heartbeat was not answered: %s", named(problem))
        return False
    if not answer.is_success:
        log.warning("the heartbeat was answered with %d", answer.status_code)
    return answer.is_success
