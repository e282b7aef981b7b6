"""The tables of trainers and getting in. Of secrets that open something, only hashes are kept."""

from datetime import datetime

from sqlalchemy import UniqueConstraint
from sqlmodel import Field, SQLModel

from rungwise.store.sealing.crypto import Findable, Sealed
from rungwise.store.tables.types import UtcDateTime


class Trainer(SQLModel, table=True):
    id: int = Field(default=None, primary_key=True)
    practice_id: int = Field(foreign_key="practice.id", index=True)
    name: str = Field(sa_type=Sealed)
    email: str = Field(sa_type=Findable, unique=True)
    password_hash: str
    role: str = "trainer"
    phone: str | None = Field(default=None, sa_type=Sealed)
    second_contact_name: str | None = Field(default=None, sa_type=Sealed)
    second_contact_phone: str | None = Field(default=None, sa_type=Sealed)
    # How urgent alerts reach them: text, email or both.
    page_by: str = Field(default="text", sa_column_kwargs={"server_default": "text"})
    # The test page: its code and when it went; answered, it holds for this way of being paged.
    page_test_code: str | None = None
    page_test_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    page_answered_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    active: bool = True
    # The second factor: asked for from `factor_since` on; `factor_step` is the last code's time.
    factor_secret: str | None = Field(default=None, sa_type=Sealed)
    factor_since: datetime | None = Field(default=None, sa_type=UtcDateTime)
    factor_step: int = 0
    created_at: datetime = Field(sa_type=UtcDateTime)


class SignIn(SQLModel, table=True):
    """One signed-in browser. Only a hash of the cookie is kept."""

    __tablename__ = "sign_in"
    id: int = Field(default=None, primary_key=True)
    trainer_id: int = Field(foreign_key="trainer.id", index=True)
    token_hash: str = Field(unique=True)
    csrf: str
    created_at: datetime = Field(sa_type=UtcDateTime)
    expires_at: datetime = Field(sa_type=UtcDateTime)
    revoked_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    # To the minute; None until the first page after signing in.
    used_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    browser: str = ""
    # The password was right and the second factor is still asked for: opens nothing yet.
    half: bool = False


class SignInFailure(SQLModel, table=True):
    """A refused sign-in, kept to slow down guessing."""

    __tablename__ = "sign_in_failure"
    id: int = Field(default=None, primary_key=True)
    subject: str = Field(index=True)
    at: datetime = Field(sa_type=UtcDateTime, index=True)


class RecoveryCode(SQLModel, table=True):
    """One code that signs a trainer in once, when their second factor is out of reach."""

    __tablename__ = "recovery_code"
    id: int = Field(default=None, primary_key=True)
    trainer_id: int = Field(foreign_key="trainer.id", index=True)
    code_hash: str = Field(unique=True)
    made_at: datetime = Field(sa_type=UtcDateTime)
    used_at: datetime | None = Field(default=None, sa_type=UtcDateTime)


class Passkey(SQLModel, table=True):
    """One device's key, of which only the public half is here."""

    id: int = Field(default=None, primary_key=True)
    trainer_id: int = Field(foreign_key="trainer.id", index=True)
    credential_id: str = Field(unique=True)
    public_key: str
    sign_count: int
    name: str = Field(sa_type=Sealed)
    made_at: datetime = Field(sa_type=UtcDateTime)
    used_at: datetime | None = Field(default=None, sa_type=UtcDateTime)


class PasskeyChallenge(SQLModel, table=True):
    """What a browser was given to sign, once and soon. Of both only hashes are kept."""

    __tablename__ = "passkey_challenge"
    challenge_hash: str = Field(primary_key=True)
    holder_hash: str
    expires_at: datetime = Field(sa_type=UtcDateTime, index=True)


class OrganisationSignIn(SQLModel, table=True):
    """Whom an organisation's own sign-in vouches for: its issuer and the name it gives a person
    for ever (`sub`), linked by the trainer to their account.
    """

    __tablename__ = "organisation_sign_in"
    __table_args__ = (
        UniqueConstraint("issuer", "subject"),
        UniqueConstraint("trainer_id", "issuer"),
    )
    id: int = Field(default=None, primary_key=True)
    trainer_id: int = Field(foreign_key="trainer.id", index=True)
    issuer: str
    subject: str = Field(sa_type=Findable)
    linked_at: datetime = Field(sa_type=UtcDateTime)
    used_at: datetime | None = Field(default=None, sa_type=UtcDateTime)


class AccountLink(SQLModel, table=True):
    """A link by which somebody chooses a password, once.

    `kind`: invitation (a new trainer; `name`, `email`, `phone` and `role` are theirs) or reset
    (`trainer_id` chooses a new one; with `drops_factor` the second factor goes too).
    """

    __tablename__ = "account_link"
    id: int = Field(default=None, primary_key=True)
    practice_id: int = Field(foreign_key="practice.id", index=True)
    kind: str
    token_hash: str = Field(unique=True)
    trainer_id: int | None = Field(default=None, foreign_key="trainer.id")
    name: str | None = Field(default=None, sa_type=Sealed)
    email: str | None = Field(default=None, sa_type=Findable)
    phone: str | None = Field(default=None, sa_type=Sealed)
    role: str = "trainer"
    drops_factor: bool = False
    made_by: int | None = Field(default=None, foreign_key="trainer.id")
    made_at: datetime = Field(sa_type=UtcDateTime)
    expires_at: datetime = Field(sa_type=UtcDateTime)
    used_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    revoked_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
