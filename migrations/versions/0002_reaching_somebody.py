"""Ways to page a trainer, pages of an alert, what failed, how long texts stay, idle sign-ins"""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column(
        "trainer", sa.Column("page_by", sa.String(), server_default="text", nullable=False)
    )
    op.add_column("practice", sa.Column("keep_texts_months", sa.Integer(), nullable=True))
    op.add_column("message", sa.Column("removed_at", sa.DateTime(timezone=True), nullable=True))
    op.add_column("sign_in", sa.Column("used_at", sa.DateTime(timezone=True), nullable=True))
    op.create_table(
        "alert_page",
        sa.Column("alert_id", sa.Integer(), nullable=False),
        sa.Column("message_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["alert_id"],
            ["alert.id"],
        ),
        sa.ForeignKeyConstraint(
            ["message_id"],
            ["message.id"],
        ),
        sa.PrimaryKeyConstraint("alert_id", "message_id"),
    )
    op.create_index("ix_alert_page_message_id", "alert_page", ["message_id"], unique=False)
    op.create_table(
        "watch_notice",
        sa.Column("practice_id", sa.Integer(), nullable=False),
        sa.Column("what", sa.String(), nullable=False),
        sa.Column("since", sa.DateTime(timezone=True), nullable=False),
        sa.Column("told_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["practice_id"],
            ["practice.id"],
        ),
        sa.PrimaryKeyConstraint("practice_id", "what"),
    )


def downgrade() -> None:
    op.drop_table("watch_notice")
    op.drop_index("ix_alert_page_message_id", table_name="alert_page")
    op.drop_table("alert_page")
    # Not in batches: those copy the whole table, and SQLite drops a column by itself since 3.35.
    op.drop_column("sign_in", "used_at")
    op.drop_column("message", "removed_at")
    op.drop_column("practice", "keep_texts_months")
    op.drop_column("trainer", "page_by")
