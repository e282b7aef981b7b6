"""A client's stored state: resting a client out, whoever asks for it."""

from datetime import datetime

from sqlmodel import Session

from rungwise.coach.outbox.texts import cancel_prompts
from rungwise.concepts.client_states import By, State, moved
from rungwise.store.due import clear_due
from rungwise.store.tables import Client

ASKS_FOR_PRACTICE = ("prompt", "reminder")


def rest_client(session: Session, now: datetime, client: Client, by: By = By.TRAINER) -> None:
    """No prompts, no reminders, from this moment until a trainer clears the client."""
    if client.state == State.STOPPED:
        # A later START must not undo the rest.
        if client.stopped_from != State.INVITED:
            client.stopped_from = State.RESTING
    elif client.state not in (State.RESTING, State.INVITED):
        # Ending a rest must not begin texts for somebody who was never cleared or never agreed.
        client.state = moved(client.state, State.RESTING, by)
        client.state_since = now
    session.add(client)
    no_practice(session, client.id)


def no_practice(session: Session, client_id: int) -> None:
    """Take back what waits and asks for practice, and what is due to ask for it."""
    cancel_prompts(session, client_id)
    for kind in ASKS_FOR_PRACTICE:
        clear_due(session, kind, client_id)
