"""Notes that are edited, with what they said before"""

import sqlalchemy as sa
from alembic import op

revision = "0016"
down_revision = "0015"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("client_note") as batch:
        batch.add_column(sa.Column("edits_id", sa.Integer(), nullable=True))
        batch.create_foreign_key("client_note_edits", "client_note", ["edits_id"], ["id"])
    op.create_index("ix_client_note_edits_id", "client_note", ["edits_id"], unique=False)


def downgrade() -> None:
    op.drop_index("ix_client_note_edits_id", "client_note")
    with op.batch_alter_table("client_note") as batch:
        batch.drop_constraint("client_note_edits", type_="foreignkey")
        batch.drop_column("edits_id")
