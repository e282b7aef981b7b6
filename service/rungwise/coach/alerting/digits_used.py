"""Each use of a page's digit, for the practice lead: a sender's number can be forged."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlmodel import Session, col, select

from rungwise.store.salvage import salvage
from rungwise.store.tables import Audit, Client, Incident, Practice, Trainer

SHOWN = timedelta(days=30)
MOST_SHOWN = 100


@dataclass(frozen=True, slots=True)
class DigitUsed:
    """Who answered which page with what; `client` is empty once their records were erased."""

    at: datetime
    digit: int
    trainer: str
    by_second_contact: bool
    client: str
    incident_id: int | None


def digits_used(session: Session, now: datetime, practice: Practice) -> list[DigitUsed]:
    """Those of the last days, latest first."""
    rows = select(Audit).where(
        Audit.practice_id == practice.id,
        Audit.action == "page answered",
        col(Audit.at) >= now - SHOWN,
    )
    lines = session.exec(rows.order_by(col(Audit.id).desc()).limit(MOST_SHOWN)).all()
    wanted = sorted({line.client_id for line in lines if line.client_id is not None})
    called = {each.row.id: each.row.name for each in salvage(session, Client, wanted)}
    trainers = select(Trainer.id, Trainer.name).where(Trainer.practice_id == practice.id)
    names = dict(session.exec(trainers).all())
    return [
        DigitUsed(
            line.at,
            line.detail.get("digit", 0),
            names.get(line.trainer_id or 0, ""),
            line.detail.get("by") == "second contact",
            called.get(line.client_id or 0, ""),
            _still_there(session, line.detail.get("incident")),
        )
        for line in lines
    ]


def _still_there(session: Session, incident_id: int | None) -> int | None:
    known = incident_id is not None and session.get(Incident, incident_id) is not None
    return incident_id if known else None
