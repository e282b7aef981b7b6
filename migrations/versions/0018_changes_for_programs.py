"""Changes that other programs ask for, and what webhooks are told of besides alerts"""

import sqlalchemy as sa
from alembic import op

revision = "0018"
down_revision = "0017"
branch_labels = None
depends_on = None

NEW = sa.text("number IS NULL")


def upgrade() -> None:
    op.create_table(
        "change_feed",
        sa.Column("practice_id", sa.Integer(), nullable=False),
        sa.Column("asked_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("last_number", sa.Integer(), nullable=False),
        sa.Column("forgotten_to", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["practice_id"], ["practice.id"]),
        sa.PrimaryKeyConstraint("practice_id"),
    )
    op.create_table(
        "change",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("practice_id", sa.Integer(), nullable=False),
        sa.Column("client_id", sa.Integer(), nullable=True),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("subject_id", sa.Integer(), nullable=False),
        sa.Column("what", sa.String(), nullable=True),
        sa.Column("number", sa.Integer(), nullable=True),
        sa.Column("numbered_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["client_id"], ["client.id"]),
        sa.ForeignKeyConstraint(["practice_id"], ["practice.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("change_numbered", "change", ["practice_id", "number"], unique=False)
    op.create_index(
        "change_new",
        "change",
        ["practice_id"],
        unique=False,
        sqlite_where=NEW,
        postgresql_where=NEW,
    )
    op.create_index("ix_change_client_id", "change", ["client_id"], unique=False)
    op.add_column("webhook", sa.Column("topics", sa.JSON(), nullable=False, server_default="[]"))
    # In words that both databases know: Alembic would copy SQLite's table, which has a small index.
    op.execute("ALTER TABLE webhook_call ADD COLUMN client_id INTEGER REFERENCES client (id)")
    op.create_index("ix_webhook_call_client_id", "webhook_call", ["client_id"], unique=False)


def downgrade() -> None:
    op.drop_index("ix_webhook_call_client_id", table_name="webhook_call")
    op.drop_column("webhook_call", "client_id")
    op.drop_column("webhook", "topics")
    op.drop_table("change")
    op.drop_table("change_feed")
