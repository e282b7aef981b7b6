"""The tables of acts over many clients, trainers' own tags, and saved views of the list."""

from datetime import datetime
from typing import Any

from sqlalchemy import JSON, Index
from sqlmodel import Field, SQLModel

from rungwise.store.sealing.crypto import Sealed, SealedJSON
from rungwise.store.tables.types import UtcDateTime


class Tag(SQLModel, table=True):
    """A trainer's own name for some of their clients, such as a class. Nobody else sees it."""

    id: int = Field(default=None, primary_key=True)
    trainer_id: int = Field(foreign_key="trainer.id", index=True)
    name: str = Field(sa_type=Sealed)
    made_at: datetime = Field(sa_type=UtcDateTime)


class ClientTag(SQLModel, table=True):
    """A client who has a tag."""

    __tablename__ = "client_tag"
    tag_id: int = Field(primary_key=True, foreign_key="tag.id")
    client_id: int = Field(primary_key=True, foreign_key="client.id", index=True)


class SavedView(SQLModel, table=True):
    """What a trainer looks for in the list again and again, by a name. `asked` is its address."""

    __tablename__ = "saved_view"
    id: int = Field(default=None, primary_key=True)
    trainer_id: int = Field(foreign_key="trainer.id", index=True)
    name: str = Field(sa_type=Sealed)
    asked: str = Field(sa_type=Sealed)
    made_at: datetime = Field(sa_type=UtcDateTime)


class GroupAct(SQLModel, table=True):
    """Something a trainer did to many clients at once, which they may take back as a whole.

    `asked` is what was to be done; `once` comes with the form, so that two presses do it once.
    """

    __tablename__ = "group_act"
    __table_args__ = (Index("group_act_latest", "trainer_id", "id"),)
    id: int = Field(default=None, primary_key=True)
    trainer_id: int = Field(foreign_key="trainer.id")
    kind: str
    asked: dict[str, Any] = Field(sa_type=SealedJSON)
    once: str = Field(unique=True)
    at: datetime = Field(sa_type=UtcDateTime)
    undone_at: datetime | None = Field(default=None, sa_type=UtcDateTime)


class GroupActClient(SQLModel, table=True):
    """What an act over many meant for one client.

    `state`: waiting, done, passed (over), taken_back, kept (could not be taken back); `why` says
    why it was passed over or kept. `before` is what was changed, as it was: the plan's settings,
    or the trainer; `message_id` the queued text.
    """

    __tablename__ = "group_act_client"
    act_id: int = Field(primary_key=True, foreign_key="group_act.id")
    client_id: int = Field(primary_key=True, foreign_key="client.id", index=True)
    place: int
    state: str = "waiting"
    why: str | None = None
    before: dict[str, Any] | None = Field(default=None, sa_type=JSON)
    message_id: int | None = Field(default=None, foreign_key="message.id", index=True)
