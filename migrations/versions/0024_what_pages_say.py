"""What a practice lets its pages say: the client's words, and the number to the second contact"""

import sqlalchemy as sa
from alembic import op

revision = "0024"
down_revision = "0023"
branch_labels = None
depends_on = None

COLUMNS = ("words_in_pages", "number_to_second")


def upgrade() -> None:
    for name in COLUMNS:
        column = sa.Column(name, sa.Boolean(), server_default=sa.false(), nullable=False)
        op.add_column("practice", column)


def downgrade() -> None:
    for name in reversed(COLUMNS):
        op.drop_column("practice", name)
