"""When a trainer's test page was sent and answered"""

import sqlalchemy as sa
from alembic import op

revision = "0025"
down_revision = "0024"
branch_labels = None
depends_on = None

COLUMNS = (
    ("page_test_code", sa.String()),
    ("page_test_at", sa.DateTime(timezone=True)),
    ("page_answered_at", sa.DateTime(timezone=True)),
)


def upgrade() -> None:
    for name, kind in COLUMNS:
        op.add_column("trainer", sa.Column(name, kind, nullable=True))


def downgrade() -> None:
    for name, _ in reversed(COLUMNS):
        op.drop_column("trainer", name)
