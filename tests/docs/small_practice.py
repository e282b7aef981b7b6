"""A small demo database for the docs' commands: two invented clients after three days, in March."""

from datetime import UTC, datetime
from pathlib import Path

from service.coach.people import NewClient, add_client, add_trainer
from service.coach.stored import ladder_of
from service.demo import forward
from service.demo.cast import cast
from service.demo.characters import first_name, pick_rung
from service.demo.load import PASSWORD
from service.parts import assemble
from service.settings import Settings
from service.store import Store
from service.store.migrate import migrate
from service.store.tables import DemoClock, Practice

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
        lead = people.trainers[0]
        trainer = add_trainer(session, BEGAN, practice, lead["name"], lead["email"], PASSWORD)
        session.flush()
        for part in (people.parts[name] for name in CLIENTS):
            new = NewClient(
                name=part.name,
                called=first_name(part.name),
                phone=part.phone,
                profile=part.profile,
                time_zone=part.zone,
                language=part.language,
                first_key=pick_rung(ladder_of(part.profile).rungs, part.start).key,
                settings=part.settings,
                agreed=True,
            )
            add_client(session, BEGAN, trainer, new)
    store.close()
    parts = assemble(Settings(database_url=url))
    forward(parts, DAYS * 86_400)
    parts.store.close()
