"""How a practice writes lengths and hours"""

import sqlalchemy as sa
from alembic import op

revision = "0022"
down_revision = "0021"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column(
        "practice", sa.Column("lengths", sa.String(), server_default="cm", nullable=False)
    )
    op.add_column("practice", sa.Column("clock", sa.Integer(), nullable=True))


def downgrade() -> None:
    op.drop_column("practice", "clock")
    op.drop_column("practice", "lengths")
