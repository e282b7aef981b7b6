"""How often a text may have arrived already"""

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column(
        "message", sa.Column("maybe_taken", sa.Integer(), server_default="0", nullable=False)
    )


def downgrade() -> None:
    op.drop_column("message", "maybe_taken")
