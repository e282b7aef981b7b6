"""What clients wrote lately: a gateway's repeats of the last minute, and how much within a day."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import datetime, timedelta

from sqlmodel import Session, col, select

from rungwise.coach.conversation.automatic import DAY, HOUR, MOST_ALIKE, lately
from rungwise.coach.conversation.dossier import Lately
from rungwise.store.index_conditions import CAME_IN
from rungwise.store.salvage import salvage
from rungwise.store.tables import Message

REPEAT_WITHIN = timedelta(seconds=60)


class HeardLately:
    """The texts that clients wrote within a day, besides what has just been stored."""

    def __init__(self, session: Session, now: datetime, client_ids: Sequence[int]) -> None:
        rows = select(Message.id, Message.client_id, Message.created_at).where(
            col(Message.client_id).in_(client_ids),
            CAME_IN,
            Message.created_at > now - DAY,
            Message.state != "repeat",
        )
        self._session, self._now = session, now
        self._times: defaultdict[int, list[datetime]] = defaultdict(list)
        self._minute: defaultdict[int, list[Message]] = defaultdict(list)
        fresh = []
        for message_id, client_id, at in session.exec(rows).all():
            self._times[client_id or 0].append(at)
            if at > now - REPEAT_WITHIN:
                fresh.append(message_id)
        for each in salvage(session, Message, fresh):
            self._minute[each.row.client_id or 0].append(each.row)

    def within_a_minute(self, client_id: int) -> list[Message]:
        return self._minute[client_id]

    def note(self, message: Message) -> None:
        """One more text, to be counted with those before."""
        self._times[message.client_id or 0].append(message.created_at)
        self._minute[message.client_id or 0].append(message)

    def lately(self, client_id: int) -> Lately | None:
        """How much the client wrote; None while that is too little to be a machine's."""
        if len(self._times[client_id]) <= MOST_ALIKE:
            return None
        return lately_of(self._session, self._now, client_id, self._times[client_id])


def lately_of(session: Session, now: datetime, client_id: int, times: Sequence[datetime]) -> Lately:
    """How much the client wrote, at these instants, with the words of the last hour."""
    of_client = (Message.client_id == client_id, Message.created_at > now - HOUR)
    ids = session.exec(
        select(Message.id).where(*of_client, CAME_IN, Message.state != "repeat")
    ).all()
    words = [(each.row.created_at, each.row.body) for each in salvage(session, Message, ids)]
    earlier = [(at, "") for at in times if at <= now - HOUR]
    ours = select(Message.created_at, Message.name).where(
        *of_client, Message.direction == "out", col(Message.name).is_not(None)
    )
    said = [(at, name) for at, name in session.exec(ours).all() if name]
    return lately([*earlier, *words], said, now)
