"""Looks each day at the course of everybody who practises, a few at a time."""

from rungwise.clock import Clock
from rungwise.coach.reviews.course_lines import look_again
from rungwise.store import Store

EVERY_S = 20.0


def course_tick(store: Store, clock: Clock) -> int:
    """Look at the next few; how many."""
    return look_again(store, clock.now())
