"""Whether a practice wants the second reader"""

import sqlalchemy as sa
from alembic import op

revision = "0017"
down_revision = "0016"
branch_labels = None
depends_on = None


def upgrade() -> None:
    column = sa.Column("second_reader", sa.Boolean(), server_default=sa.true(), nullable=False)
    op.add_column("practice", column)


def downgrade() -> None:
    op.drop_column("practice", "second_reader")
