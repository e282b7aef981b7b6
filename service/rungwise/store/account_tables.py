"""Tables about getting in: recovery codes, and links that invite or reset. Only hashes are kept."""

from datetime import datetime

from sqlmodel import Field, SQLModel

from rungwise.store.crypto import Findable, Sealed
from rungwise.store.tables import UtcDateTime


class RecoveryCode(SQLModel, table=True):
    """One code that signs a trainer in once, when their second factor is out of reach."""

    __tablename__ = "recovery_code"
    id: int = Field(default=None, primary_key=True)
    trainer_id: int = Field(foreign_key="trainer.id", index=True)
    code_hash: str = Field(unique=True)
    made_at: datetime = Field(sa_type=UtcDateTime)
    used_at: datetime | None = Field(default=None, sa_type=UtcDateTime)


class AccountLink(SQLModel, table=True):
    """A link by which somebody chooses a password, once.

    `kind`: invitation (a new trainer; `name`, `email` and `role` are theirs) or reset (`trainer_id`
    chooses a new one; with `drops_factor` the second factor goes too).
    """

    __tablename__ = "account_link"
    id: int = Field(default=None, primary_key=True)
    practice_id: int = Field(foreign_key="practice.id", index=True)
    kind: str
    token_hash: str = Field(unique=True)
    trainer_id: int | None = Field(default=None, foreign_key="trainer.id")
    name: str | None = Field(default=None, sa_type=Sealed)
    email: str | None = Field(default=None, sa_type=Findable)
    role: str = "trainer"
    drops_factor: bool = False
    made_by: int | None = Field(default=None, foreign_key="trainer.id")
    made_at: datetime = Field(sa_type=UtcDateTime)
    expires_at: datetime = Field(sa_type=UtcDateTime)
    used_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    revoked_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
