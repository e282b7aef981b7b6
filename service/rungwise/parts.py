"""The parts a running service is put together from, made once from its settings."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from sqlmodel import select

from rungwise.carriers.base import Carrier
from rungwise.carriers.setup import carriers_from
from rungwise.clock import AheadClock, Clock, SystemClock
from rungwise.meters import Meters
from rungwise.settings import Settings
from rungwise.store import Store
from rungwise.store.sealing.unlocking import open_store
from rungwise.store.tables import Practice


@dataclass(frozen=True, slots=True)
class Parts:
    """Settings, store, clock, the carriers by name, and what this process counts."""

    settings: Settings
    store: Store
    clock: Clock
    carriers: Mapping[str, Carrier]
    meters: Meters = field(default_factory=Meters)

    @property
    def is_demo(self) -> bool:
        """Whether this database holds the invented practice: its clock may then be moved."""
        with self.store.read() as session:
            return session.exec(select(Practice.is_demo).limit(1)).first() is True

    @property
    def share_played(self) -> float | None:
        """How far a demo is whose weeks are still being played, from 0 to 1; None otherwise."""
        return self.clock.share_played() if isinstance(self.clock, AheadClock) else None


def assemble(settings: Settings, clock: Clock | None = None) -> Parts:
    """Open the store and set up the carriers. The demo's own clock is used on a demo database.

    OlderDatabase or NewerDatabase when its tables are not this version's, KeyMissing or
    NotSealedYet when the data keys do not fit it.
    """
    store = open_store(settings)
    store.public_url = settings.public_url
    carriers = carriers_from(settings)
    parts = Parts(settings, store, clock or SystemClock(), carriers)
    if clock is None and parts.is_demo:
        return Parts(settings, store, AheadClock(store), carriers)
    return parts
