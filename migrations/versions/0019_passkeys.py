"""Passkeys, and what browsers are given to sign"""

import sqlalchemy as sa
from alembic import op

revision = "0019"
down_revision = "0018"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "passkey",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("trainer_id", sa.Integer(), nullable=False),
        sa.Column("credential_id", sa.String(), nullable=False),
        sa.Column("public_key", sa.String(), nullable=False),
        sa.Column("sign_count", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("used_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["trainer_id"], ["trainer.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("credential_id"),
    )
    op.create_index("ix_passkey_trainer_id", "passkey", ["trainer_id"], unique=False)
    op.create_table(
        "passkey_challenge",
        sa.Column("challenge_hash", sa.String(), nullable=False),
        sa.Column("holder_hash", sa.String(), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("challenge_hash"),
    )
    op.create_index(
        "ix_passkey_challenge_expires_at", "passkey_challenge", ["expires_at"], unique=False
    )


def downgrade() -> None:
    op.drop_table("passkey_challenge")
    op.drop_table("passkey")
