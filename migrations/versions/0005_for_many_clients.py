"""Indexes by which no look-up costs more with every client, practice or year of texts"""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0003"
branch_labels = None
depends_on = None

# Name, table, columns, and the rows it holds; None for all.
INDEXES = (
    (
        "message_prompts",
        "message",
        ["client_id", "local_date", "created_at"],
        "kind = 'prompt' AND direction = 'out'",
    ),
    ("message_heard", "message", ["client_id", "created_at"], "direction = 'in'"),
    ("message_kept", "message", ["practice_id", "created_at"], "removed_at IS NULL"),
    ("message_others", "message", ["practice_id"], "client_id IS NULL"),
    ("message_answers", "message", ["answers_id"], "answers_id IS NOT NULL"),
    ("move_report", "move", ["report_id"], "report_id IS NOT NULL"),
    ("question_answer", "question", ["answer_id"], "answer_id IS NOT NULL"),
    ("ix_alert_message_message_id", "alert_message", ["message_id"], None),
    ("alert_unread", "alert", ["urgency", "last_at"], "state = 'new'"),
)


def upgrade() -> None:
    for name, table, columns, only in INDEXES:
        held = (
            {}
            if only is None
            else {"sqlite_where": sa.text(only), "postgresql_where": sa.text(only)}
        )
        # On a large database they may have been made beforehand, without locking (docs/scale.md).
        op.create_index(name, table, columns, unique=False, if_not_exists=True, **held)
    op.drop_index("ix_message_practice_id", table_name="message")


def downgrade() -> None:
    op.create_index("ix_message_practice_id", "message", ["practice_id"], unique=False)
    for name, table, _columns, _only in reversed(INDEXES):
        op.drop_index(name, table_name=table)
