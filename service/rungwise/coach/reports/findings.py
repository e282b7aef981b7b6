"""Outcomes in plain words: a finding a sentence, and what may be said beside it. Pure.

How each is counted, with its intervals and sources, stands one press away on the page.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from rungwise.coach.reports.outcomes import Reversals, WeekPractice
from rungwise.evidence.dose import Dose
from rungwise.evidence.falls import FallsFound
from rungwise.evidence.rates import WHO_DAYS_A_WEEK

NUMBERS = ("none", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
# Fewer events than this say next to nothing of how often something happens; our choice.
FEW = 5


@dataclass(frozen=True, slots=True)
class Finding:
    """One sentence, and what is to be known with it."""

    says: str
    beside: str


def practice(weeks: Sequence[WeekPractice]) -> Finding:
    """How many days of seven, over the weeks in which anybody was asked."""
    asked = [week for week in weeks if week.clients]
    if not asked:
        return Finding("Nobody was asked to practise in these weeks.", "")
    days = [week.practised_days / week.clients for week in asked]
    low, high = round(min(days)), round(max(days))
    range_ = _day_words(low) if low == high else f"{NUMBERS[low]} to {NUMBERS[high]} days"
    worst = min(asked, key=lambda week: week.enough_share or 0.0)
    least = f"{worst.enough} of {worst.clients}"
    when = f"in each of the {len(asked)} weeks at least" if len(asked) > 1 else "in that week"
    return Finding(
        f"Clients practise on {range_} of seven.",
        f"{_named(WHO_DAYS_A_WEEK)} days are advised: {when} {least} reached them.",
    )


def dose(found: Dose) -> Finding:
    """How much of what was planned was done."""
    if not found.planned:
        return Finding("No session was planned in these weeks.", "")
    share = found.done / found.planned
    says = f"{found.done:,} of {_counted(found.planned, 'planned session')} were done."
    more = f" {_counted(found.extra, 'session')} more than planned." if found.extra else ""
    return Finding(says, f"That is {share:.0%}.{more}")


def falls(found: FallsFound) -> Finding:
    """How many, by how many; and that few, or nobody's word, say little."""
    also = ""
    if found.elsewhere:
        more = "more " if found.falls else ""
        told = f"{more}fall was" if found.elsewhere == 1 else f"{more}falls were"
        also = f" {_named(found.elsewhere)} {told} told of days that nobody answered for."
    if not found.days_answered:
        says = "Nobody has answered yet whether they fell, so there is no rate."
        return Finding(says, also.strip())
    days = f"Over {_counted(found.days_answered, 'day')} that clients answered for"
    if not found.falls:
        says = "No fall was told in these weeks."
        if also:
            return Finding("No fall was told of the days answered for.", f"{days}.{also}")
        return Finding(says, f"{days}. That nobody told of one does not mean that nobody fell.")
    falls_told = "One fall was" if found.falls == 1 else f"{_named(found.falls)} falls were"
    by = "one client" if found.fallers == 1 else f"{_in_words(found.fallers)} clients"
    again = f", {_in_words(found.repeat_fallers)} of them more than once"
    says = f"{falls_told} told in these weeks, by {by}{again if found.repeat_fallers else ''}."
    few = " So few say little of how often people fall." if found.falls < FEW else ""
    return Finding(says, f"{days}.{few}{also}")


def landmarks(passed: int, under_way: int) -> Finding:
    """How many of those who began below a landmark have passed at least one since."""
    if not under_way:
        return Finding("Nobody has begun below a landmark yet.", "")
    share = f"{_named(passed)} of {_in_words(under_way)}"
    have = "has" if passed in (0, 1) else "have"
    says = f"{share} {have} passed a landmark since they began."
    return Finding(says, "A dot is a client who began below it; filled, has reached it.")


def reversals(found: Reversals, *, lead: bool) -> Finding:
    """What trainers made of the rule's moves."""
    made = found.ups + found.backs
    who = "Trainers" if lead else "You"
    if not made:
        return Finding("The rule has moved nobody yet.", "")
    undone = found.ups_reversed + found.backs_reversed
    moves = "move" if made == 1 else "moves"
    return Finding(
        f"{who} took back {_in_words(undone)} of the rule’s {made:,} {moves}.",
        f"{found.ups:,} up, {found.backs:,} back. {who} placed clients "
        f"{_counted(found.placed, 'time')} in all.",
    )


def _day_words(count: int) -> str:
    return "one day" if count == 1 else f"{NUMBERS[count]} days"


def _in_words(count: int) -> str:
    return NUMBERS[count] if count < len(NUMBERS) else f"{count:,}"


def _named(count: int) -> str:
    name = _in_words(count)
    return name[:1].upper() + name[1:]


def _counted(count: int, thing: str) -> str:
    return f"1 {thing}" if count == 1 else f"{count:,} {thing}s"
