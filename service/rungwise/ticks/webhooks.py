"""The tick that calls webhooks, outside of any transaction."""

import logging
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from functools import partial

from rungwise.carriers.hooks import HookAnswer, HookCall
from rungwise.clock import Clock
from rungwise.coach.accounts.api_tokens import forget_old_acts
from rungwise.coach.outbox.change_feed import (
    any_unnumbered,
    forget_changes,
    number_everywhere,
)
from rungwise.coach.outbox.webhook_calls import (
    Claimed,
    any_due,
    claim_calls,
    forget_old_calls,
    settle_calls,
)
from rungwise.meters import Meters
from rungwise.store import Store

log = logging.getLogger(__name__)

AT_ONCE = 16
MOST_ROUNDS = 20
FORGET_EVERY = timedelta(hours=1)

Post = Callable[[HookCall], HookAnswer]


def webhook_tick(store: Store, clock: Clock, post: Post, meters: Meters) -> int:
    """Tell of what changed and make the calls that are due; returns how many were made.

    Bounded, so it cannot hang on.
    """
    with store.read() as session:
        numbered = any_unnumbered(session)
    if numbered:
        store.run(lambda session: number_everywhere(session, clock.now()))
    done = 0
    for _ in range(MOST_ROUNDS):
        now = clock.now()
        with store.read() as session:
            # Most ticks find nothing; they need not take the write lock to see that.
            if not any_due(session, now):
                return done
        claimed = store.run(partial(claim_calls, now=now, most=AT_ONCE))
        if not claimed:
            return done
        with ThreadPoolExecutor(len(claimed), thread_name_prefix="webhook") as pool:
            answers = list(pool.map(lambda one: (one, _answer(one, post)), claimed))
        store.run(partial(settle_calls, now=clock.now(), answers=answers))
        for one, answer in answers:
            outcome = "failed" if answer.problem else "taken"
            meters.webhook_calls.labels(outcome).inc()
            ids = {"webhook_id": one.webhook_id, "attempt": one.attempt}
            log.info("webhook called", extra={**ids, "outcome": outcome})
        done += len(claimed)
    return done


def _answer(claimed: Claimed, post: Post) -> HookAnswer:
    try:
        return post(claimed.call)
    except Exception:
        log.exception("calling a webhook failed", extra={"webhook_id": claimed.webhook_id})
        return HookAnswer("Our mistake; the log has it.")


def forget_tick(store: Store, clock: Clock) -> None:
    """Take out calls that were settled long ago, and what programs were answered a day ago."""
    store.run(lambda session: forget_old_calls(session, clock.now()))
    store.run(lambda session: forget_old_acts(session, clock.now()))
    store.run(lambda session: forget_changes(session, clock.now()))
