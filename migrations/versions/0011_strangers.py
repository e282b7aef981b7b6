"""Phones that are no client's, and second phones of clients"""

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "client_phone",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("practice_id", sa.Integer(), nullable=False),
        sa.Column("client_id", sa.Integer(), nullable=False),
        sa.Column("phone", sa.Text(), nullable=False),
        sa.Column("whose", sa.Text(), nullable=False),
        sa.Column("added_by", sa.Integer(), nullable=True),
        sa.Column("added_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("stopped_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["added_by"],
            ["trainer.id"],
        ),
        sa.ForeignKeyConstraint(
            ["client_id"],
            ["client.id"],
        ),
        sa.ForeignKeyConstraint(
            ["practice_id"],
            ["practice.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("practice_id", "phone"),
    )
    op.create_index("ix_client_phone_client_id", "client_phone", ["client_id"], unique=False)
    op.create_table(
        "stranger",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("practice_id", sa.Integer(), nullable=False),
        sa.Column("phone", sa.Text(), nullable=False),
        sa.Column("sign", sa.String(), nullable=True),
        sa.Column("pages", sa.Integer(), nullable=False),
        sa.Column("first_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("last_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["practice_id"],
            ["practice.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("practice_id", "phone"),
    )
    op.create_table(
        "stranger_text",
        sa.Column("stranger_id", sa.Integer(), nullable=False),
        sa.Column("message_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["message_id"],
            ["message.id"],
        ),
        sa.ForeignKeyConstraint(
            ["stranger_id"],
            ["stranger.id"],
        ),
        sa.PrimaryKeyConstraint("stranger_id", "message_id"),
    )
    op.create_index("ix_stranger_text_message_id", "stranger_text", ["message_id"], unique=False)


def downgrade() -> None:
    op.drop_table("stranger_text")
    op.drop_table("stranger")
    op.drop_table("client_phone")
