"""Tokens that programs call with, what they did, and webhooks that are told of alerts"""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "api_token",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("practice_id", sa.Integer(), nullable=False),
        sa.Column("trainer_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("token_hash", sa.String(), nullable=False),
        sa.Column("scopes", sa.JSON(), nullable=False),
        sa.Column("made_by", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("revoked_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("last_used_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["made_by"],
            ["trainer.id"],
        ),
        sa.ForeignKeyConstraint(
            ["practice_id"],
            ["practice.id"],
        ),
        sa.ForeignKeyConstraint(
            ["trainer_id"],
            ["trainer.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("token_hash"),
    )
    with op.batch_alter_table("api_token", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_api_token_practice_id"), ["practice_id"], unique=False)

    op.create_table(
        "webhook",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("practice_id", sa.Integer(), nullable=False),
        sa.Column("address", sa.Text(), nullable=False),
        sa.Column("secret", sa.Text(), nullable=False),
        sa.Column("urgent_only", sa.Boolean(), nullable=False),
        sa.Column("made_by", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("why_ended", sa.String(), nullable=True),
        sa.ForeignKeyConstraint(
            ["made_by"],
            ["trainer.id"],
        ),
        sa.ForeignKeyConstraint(
            ["practice_id"],
            ["practice.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    with op.batch_alter_table("webhook", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_webhook_practice_id"), ["practice_id"], unique=False)

    op.create_table(
        "api_act",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("token_id", sa.Integer(), nullable=False),
        sa.Column("key_hash", sa.String(), nullable=False),
        sa.Column("request_hash", sa.String(), nullable=False),
        sa.Column("client_id", sa.Integer(), nullable=True),
        sa.Column("status", sa.Integer(), nullable=False),
        sa.Column("answer", sa.JSON(), nullable=True),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["client_id"],
            ["client.id"],
        ),
        sa.ForeignKeyConstraint(
            ["token_id"],
            ["api_token.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("token_id", "key_hash"),
    )
    with op.batch_alter_table("api_act", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_api_act_at"), ["at"], unique=False)
        batch_op.create_index(batch_op.f("ix_api_act_client_id"), ["client_id"], unique=False)

    op.create_table(
        "webhook_call",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("webhook_id", sa.Integer(), nullable=False),
        sa.Column("alert_id", sa.Integer(), nullable=True),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("called", sa.String(), nullable=False),
        sa.Column("body", sa.String(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("problem", sa.String(), nullable=True),
        sa.Column("settled_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["alert_id"],
            ["alert.id"],
        ),
        sa.ForeignKeyConstraint(
            ["webhook_id"],
            ["webhook.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("called"),
    )
    with op.batch_alter_table("webhook_call", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_webhook_call_alert_id"), ["alert_id"], unique=False)
        batch_op.create_index(
            batch_op.f("ix_webhook_call_webhook_id"), ["webhook_id"], unique=False
        )
        batch_op.create_index(
            "webhook_due",
            ["at"],
            unique=False,
            sqlite_where=sa.text("settled_at IS NULL"),
            postgresql_where=sa.text("settled_at IS NULL"),
        )


def downgrade() -> None:
    with op.batch_alter_table("webhook_call", schema=None) as batch_op:
        batch_op.drop_index(
            "webhook_due",
            sqlite_where=sa.text("settled_at IS NULL"),
            postgresql_where=sa.text("settled_at IS NULL"),
        )
        batch_op.drop_index(batch_op.f("ix_webhook_call_webhook_id"))
        batch_op.drop_index(batch_op.f("ix_webhook_call_alert_id"))

    op.drop_table("webhook_call")
    with op.batch_alter_table("api_act", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_api_act_client_id"))
        batch_op.drop_index(batch_op.f("ix_api_act_at"))

    op.drop_table("api_act")
    with op.batch_alter_table("webhook", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_webhook_practice_id"))

    op.drop_table("webhook")
    with op.batch_alter_table("api_token", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_api_token_practice_id"))

    op.drop_table("api_token")
