"""A carrier's circuit kept by practice, and when each text was last tried"""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    # The older columns of carrier_state stay: the last release still writes them.
    op.create_table(
        "circuit",
        sa.Column("carrier", sa.String(), nullable=False),
        sa.Column("practice_id", sa.Integer(), nullable=False),
        sa.Column("failures", sa.Integer(), nullable=False),
        sa.Column("failing", sa.JSON(), nullable=False),
        sa.Column("retry_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("down_since", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["practice_id"],
            ["practice.id"],
        ),
        sa.PrimaryKeyConstraint("carrier", "practice_id"),
    )
    op.add_column("message", sa.Column("tried_at", sa.DateTime(timezone=True), nullable=True))


def downgrade() -> None:
    op.drop_column("message", "tried_at")
    op.drop_table("circuit")
