"""A small demo database for the docs' commands: two invented clients after three days, in March."""

from datetime import UTC, datetime
from pathlib import Path

from rungwise.demo import forward
from rungwise.demo.cast import cast
from rungwise.demo.load import _joining, _trainers  # as the demo itself is made
from rungwise.parts import assemble
from rungwise.settings import Settings
from rungwise.store import Store
from rungwise.store.moving.migrate import migrate
from rungwise.store.tables import DemoClock, Practice, Trainer

# The pages' examples are of early March.
BEGAN = datetime(2026, 2, 27, 8, tzinfo=UTC)
DAYS = 3
CLIENTS = ("Ada Thornby", "Carmen Ribalta")


def make_small_practice(file: Path) -> None:
    """Write the database; its clock stands at 2 March 2026, 08:00 UTC."""
    url = f"sqlite:///{file}"
    people = cast()
    store = Store(url)
    migrate(store)
    with store.write() as session:
        practice = Practice(**people.practice, is_demo=True, created_at=BEGAN)
        session.add(practice)
        session.add(DemoClock(ahead_s=(BEGAN - datetime.now(UTC)).total_seconds()))
        session.flush()
        trainers = _trainers(session, BEGAN, practice, people)
        session.flush()
        for trainer_id in trainers.values():
            session.get_one(Trainer, trainer_id).page_answered_at = BEGAN
        for part in (people.parts[name] for name in CLIENTS):
            _joining(part, trainers[part.trainer])(session, BEGAN)
    store.close()
    parts = assemble(Settings(database_url=url))
    forward(parts, DAYS * 86_400)
    parts.store.close()
