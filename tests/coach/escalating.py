"""A fall that nobody looks at, played with the process killed once in every stretch of it."""

from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path

from killing import NEVER, run, taken
from sqlmodel import select

from rungwise.coach.alerting.alerts import see
from rungwise.coach.alerting.incidents import HANDLED_WITHIN
from rungwise.store.tables import Alert, Practice, Trainer

TRAINER, SECOND, CLIENT = "+12025550101", "+12025550102", "+12025550103"
# When we look, in minutes after the fall. The practice escalates after 10 minutes and then 20; a
# process that was killed just before that does it 65 s later, and so the next one is later too.
STRETCHES = (0, 12, 34)
SAID = "I fell in the kitchen"
# A killed process is started again after this: longer than any lease it held.
RESTARTED = timedelta(seconds=65)


@dataclass
class Told:
    """What came of it. `missing`: whom a stretch did not reach, as (minute, who)."""

    killed: int = 0
    missing: list[tuple[int, str]] = field(default_factory=list)
    after_seen: int = 0
    slowest: timedelta = timedelta(0)


def play_killed_at(world, kill_at: int, file: Path) -> Told:
    """`kill_at`: the step of every stretch at which its process is killed."""
    world.pass_time(hours=2)
    with world.store.write() as session:
        session.exec(select(Practice)).one().carrier = "wire"
    url = world.store.engine.url.render_as_string(hide_password=False)
    told = Told()
    begun = world.clock.now()
    for minute in STRETCHES:
        before = taken(file)
        at = begun + timedelta(minutes=minute)
        if run(url, at, SAID, kill_at, file):
            told.killed += 1
            # What the killed one held is free after the lease.
            at += RESTARTED
            assert not run(url, at, SAID, NEVER, file)
        told.slowest = max(told.slowest, at - begun - timedelta(minutes=minute))
        got = taken(file) - before
        expected = [TRAINER, CLIENT] if minute == 0 else [TRAINER, SECOND]
        told.missing += [(minute, who) for who in expected if not got[who]]
    with world.store.write() as session:
        alert = session.exec(select(Alert).where(Alert.kind == "fall")).one()
        see(session, at, session.get_one(Trainer, world.trainer_id), alert)
    before = taken(file)
    # For as long as it may stay opened and not handled.
    run(url, at + HANDLED_WITHIN - timedelta(minutes=1), None, NEVER, file)
    told.after_seen = sum((taken(file) - before)[who] for who in (TRAINER, SECOND))
    return told
