"""The audit trail: who looked at or changed what, only ever added to."""

from datetime import datetime

from sqlmodel import Session

from service.store.tables import Audit, Trainer


def record(
    session: Session,
    now: datetime,
    trainer: Trainer,
    action: str,
    *,
    client_id: int | None = None,
    **detail: object,
) -> None:
    """Add one line. `detail` holds plain JSON values and no message text."""
    session.add(
        Audit(
            practice_id=trainer.practice_id,
            trainer_id=trainer.id,
            client_id=client_id,
            action=action,
            detail=detail,
            at=now,
        )
    )
