"""Telling a trainer that their own sign-in was changed, so that a stranger's change is noticed."""

from datetime import datetime

from sqlmodel import Session

from rungwise.coach.alerting.paging import BY_EMAIL
from rungwise.coach.outbox.texts import Text, queue_to_phone
from rungwise.coach.record.wording import wording_of
from rungwise.store.tables import Practice, Trainer
from rungwise.wording.texts import render


def tell_owner(session: Session, now: datetime, trainer: Trainer, what: str) -> None:
    """Queue a notice the way the trainer is paged. `what`: password, factor, code, organisation.

    It names no link, and says what to do if it was somebody else.
    """
    practice = session.get_one(Practice, trainer.practice_id)
    own = wording_of(session, practice.id, practice.language)
    text = Text("page", render(f"sign_in_{what}", practice.language, own, practice=practice.name))
    if trainer.phone and trainer.page_by != "email":
        queue_to_phone(session, now, practice, text, trainer.phone)
    elif not practice.is_demo:
        queue_to_phone(session, now, practice, text, trainer.email, None, BY_EMAIL)
