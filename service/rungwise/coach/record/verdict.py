"""The decision as the service takes it: the rule, with the second opinion beside it.

Pure, so that replay can take it again from what is stored.
"""

from collections.abc import Sequence
from dataclasses import asdict, replace

from rungwise.ladder.estimate import next_chance
from rungwise.ladder.progression import DayReport, Move, PastDay, Plan, decide
from rungwise.ladder.reach import climb_in
from rungwise.ladder.rungs import Ladder


def verdict(ladder: Ladder, plan: Plan, history: Sequence[PastDay], report: DayReport) -> Move:
    """The move after a report; `history` is every earlier move that stands, oldest first.

    What is told of an earlier date than the latest never moves the client up: what they did since
    is known, and says more.
    """
    move = decide(ladder, plan, history, report)
    if move.kind == "up" and plan.rule_version != 2:
        # The second opinion only ever holds back an up move, and costs more than the rule.
        move = decide(ladder, plan, history, report, next_chance(ladder, plan, history, report))
    if move.kind == "up" and _later_told(history, report):
        return _waits_for_next(move, history)
    return move


def _later_told(history: Sequence[PastDay], report: DayReport) -> bool:
    """Whether a later date was practised and told already."""
    later = (past.report for past in history if past.day > report.day)
    return any(told is not None and not told.skipped for told in later)


def _waits_for_next(move: Move, history: Sequence[PastDay]) -> Move:
    """The move up not made. The day counts, so the next one told may make it."""
    facts = {
        **move.facts,
        **({"climb": asdict(climb_in(history))} if "climb" in move.facts else {}),
    }
    because = "Steady, but a later day is told already: the next day told decides."
    return replace(
        move, kind="stay", to_key=move.from_key, rule="later_told", because=because, facts=facts
    )
