"""What a practice settles before its first client gets a text: on the day's page until one does."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session, col, select

from rungwise.coach.alerting.paging import ways_to
from rungwise.coach.monitoring.carrier_health import carriers_health
from rungwise.store.queries.banner_counts import GET_TEXTS, Scope
from rungwise.store.tables import Audit, Client, Practice, Trainer


@dataclass(frozen=True, slots=True)
class Step:
    """One line of the list: what it is about, how it stands as a sentence, and where it is set."""

    name: str
    says: str
    address: str
    done: bool


def first_run(
    session: Session, now: datetime, practice: Practice, trainer: Trainer, set_up: Collection[str]
) -> list[Step]:
    """The steps before the first text; none once a client of theirs gets texts."""
    begun = select(Client.id).where(Scope.of(trainer).clients, col(Client.state).in_(GET_TEXTS))
    if session.exec(begun.limit(1)).first() is not None:
        return []
    mine = f"/practice/trainers/{trainer.id}"
    looked = _was_looked_at(session, practice) or trainer.role != "lead"
    hours = f"Texts go from {practice.texts_from} to {practice.texts_until}"
    ways = ways_to(practice, trainer)
    paged = " and ".join(way.to for way in ways)
    contact = trainer.second_contact_name
    return [
        Step("Hours", f"{hours}, where each client is.", "/practice", looked),
        Step(
            "Emergency number",
            f"Safety texts say {practice.emergency_number}: right where your clients live?",
            "/practice",
            looked,
        ),
        Step("Who is paged", f"You, at {paged}." if ways else "No phone yet.", mine, bool(ways)),
        Step(
            "Second contact",
            f"{contact}." if contact else "Nobody yet, so the practice leads are paged instead.",
            mine,
            bool(contact),
        ),
        _carrier(session, now, practice, set_up),
        Step(
            "Test page",
            "Answered." if trainer.page_answered_at else "Nobody gets a first text before it.",
            f"{mine}#part-test",
            trainer.page_answered_at is not None,
        ),
    ]


def _was_looked_at(session: Session, practice: Practice) -> bool:
    """Whether a lead has saved the practice's page, and so its hours and its number."""
    rows = select(Audit.id).where(
        Audit.practice_id == practice.id, Audit.action == "practice changed"
    )
    return session.exec(rows.limit(1)).first() is not None


def _carrier(session: Session, now: datetime, practice: Practice, set_up: Collection[str]) -> Step:
    health = next(
        (
            one
            for one in carriers_health(session, now, practice, set(set_up))
            if one.name == practice.carrier
        ),
        None,
    )
    if health is None or not health.set_up:
        says = f"{practice.carrier} is not set up here: no text leaves."
    elif health.down_since is not None:
        says = f"{practice.carrier} fails."
    elif health.last_out is None:
        says = f"{practice.carrier} is set up; nothing has left by it yet. A test page shows it."
    else:
        return Step("Carrier", f"{practice.carrier} takes texts.", "/practice", done=True)
    return Step("Carrier", says, "/practice", done=False)
