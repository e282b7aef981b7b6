"""A client's next of kin, and whether a trainer's second contact may have the client's numbers"""

import sqlalchemy as sa
from alembic import op

revision = "0026"
down_revision = "0025"
branch_labels = None
depends_on = None


def upgrade() -> None:
    for name in ("kin_name", "kin_phone"):
        op.add_column("client", sa.Column(name, sa.Text(), nullable=True))
    agreed = sa.Column("number_to_second", sa.Boolean(), server_default=sa.false(), nullable=False)
    op.add_column("client", agreed)
    # The practice's word is none of the client's.
    op.drop_column("practice", "number_to_second")


def downgrade() -> None:
    column = sa.Column("number_to_second", sa.Boolean(), server_default=sa.false(), nullable=False)
    op.add_column("practice", column)
    for name in ("number_to_second", "kin_phone", "kin_name"):
        op.drop_column("client", name)
