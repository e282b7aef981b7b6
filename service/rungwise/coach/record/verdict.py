"""The decision as the service takes it: the rule, with the second opinion beside it.

Pure, so that replay can take it again from what is stored.
"""

from collections.abc import Sequence

from rungwise.ladder.estimate import next_chance
from rungwise.ladder.progression import DayReport, Move, PastDay, Plan, decide
from rungwise.ladder.rungs import Ladder


def verdict(ladder: Ladder, plan: Plan, history: Sequence[PastDay], report: DayReport) -> Move:
    """The move after a report; `history` is every earlier move that stands, oldest first."""
    move = decide(ladder, plan, history, report)
    if move.kind != "up" or plan.rule_version == 2:
        # The second opinion only ever holds back an up move, and costs more than the rule.
        return move
    return decide(ladder, plan, history, report, next_chance(ladder, plan, history, report))
