"""The phone by which somebody invited is paged, kept with the invitation until it is taken up"""

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("account_link", sa.Column("phone", sa.Text(), nullable=True))


def downgrade() -> None:
    op.drop_column("account_link", "phone")
