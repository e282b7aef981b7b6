"""Every urgent alert is paged, told to the second contact and repeated, whenever we are killed."""

import os
from datetime import timedelta
from pathlib import Path

import pytest
from escalating import play_killed_at

pytestmark = pytest.mark.both_databases

# The step of each stretch at which its process is killed: before the first commit, and while a
# carrier has taken a text whose answer is not stored. soak_escalation.py tries all of them.
STEPS = range(1, 17) if os.environ.get("RUNGWISE_EVERY_KILL") == "1" else (1, 9)


@pytest.mark.parametrize("kill_at", STEPS)
def test_an_urgent_alert_reaches_everybody_whenever_the_process_is_killed(
    world, tmp_path: Path, kill_at: int
) -> None:
    told = play_killed_at(world, kill_at, tmp_path / "elsewhere")
    assert told.killed >= 1 or kill_at > 12, "the test has killed somebody"
    assert told.missing == []
    assert told.after_seen == 0
    assert told.slowest <= timedelta(seconds=65)
