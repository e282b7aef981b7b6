"""What stands on each client's course, looked at once a day"""

import sqlalchemy as sa
from alembic import op

revision = "0028"
down_revision = "0027"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "course_line",
        sa.Column("client_id", sa.Integer(), nullable=False),
        sa.Column("rule", sa.String(), nullable=True),
        sa.Column("says", sa.String(), nullable=True),
        sa.Column("looked_on", sa.Date(), nullable=False),
        sa.ForeignKeyConstraint(["client_id"], ["client.id"]),
        sa.PrimaryKeyConstraint("client_id"),
    )


def downgrade() -> None:
    op.drop_table("course_line")
