"""That a clinician reviewed the texts and tables of a version"""

import sqlalchemy as sa
from alembic import op

revision = "0023"
down_revision = "0022"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "clinician_review",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("practice_id", sa.Integer(), nullable=False),
        sa.Column("version", sa.String(), nullable=False),
        sa.Column("clinician", sa.Text(), nullable=False),
        sa.Column("profession", sa.Text(), nullable=False),
        sa.Column("reviewed_on", sa.Date(), nullable=False),
        sa.Column("recorded_by", sa.Integer(), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["practice_id"], ["practice.id"]),
        sa.ForeignKeyConstraint(["recorded_by"], ["trainer.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(
        "ix_clinician_review_practice_id", "clinician_review", ["practice_id"], unique=False
    )


def downgrade() -> None:
    op.drop_table("clinician_review")
