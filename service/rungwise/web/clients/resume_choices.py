"""Where a resting client may go on."""

from rungwise.coach.record.situation import Situation
from rungwise.ladder.rungs import Rung


def resume_choices(situation: Situation | None) -> list[Rung]:
    """Where a resting client may go on: where they were, or easier, hardest first."""
    if situation is None or not situation.resting:
        return []
    here = situation.placement.rung_key
    ladder = situation.ladder
    top = ladder.index(here) if here in ladder else 0
    return list(reversed(ladder.rungs[: top + 1]))
