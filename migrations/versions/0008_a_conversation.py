"""What a conversation needs: the name of each text, unclear answers, a crisis line; kinds renamed."""

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None

RENAMED = {"unreadable": "unread", "question": "request"}


def upgrade() -> None:
    op.add_column("message", sa.Column("name", sa.String(), nullable=True))
    op.add_column(
        "question", sa.Column("unclear", sa.Integer(), nullable=False, server_default="0")
    )
    op.add_column("practice", sa.Column("crisis_line", sa.String(), nullable=True))
    for before, after in RENAMED.items():
        op.execute(f"UPDATE alert SET kind = '{after}' WHERE kind = '{before}'")
    # At most one open alert a client and kind: an open "effort" beside an open request is closed.
    op.execute(
        "UPDATE alert SET state = 'handled' WHERE kind = 'effort' AND state <> 'handled' AND "
        "EXISTS (SELECT 1 FROM alert AS other WHERE other.client_id = alert.client_id "
        "AND other.kind = 'request' AND other.state <> 'handled')"
    )
    op.execute("UPDATE alert SET kind = 'request' WHERE kind = 'effort'")


def downgrade() -> None:
    for before, after in RENAMED.items():
        op.execute(f"UPDATE alert SET kind = '{before}' WHERE kind = '{after}'")
    # Native, not in batches: a table that others refer to cannot be copied and dropped.
    op.drop_column("practice", "crisis_line")
    op.drop_column("question", "unclear")
    op.drop_column("message", "name")
