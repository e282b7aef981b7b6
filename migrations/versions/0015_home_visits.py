"""Visits planned and done, and where clients live"""

import sqlalchemy as sa
from alembic import op

revision = "0015"
down_revision = "0014"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("client", sa.Column("address", sa.Text(), nullable=True))
    op.create_table(
        "home_visit",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("client_id", sa.Integer(), nullable=False),
        sa.Column("trainer_id", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("begins", sa.String(), nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("planned_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("done_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("called_off_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["client_id"], ["client.id"]),
        sa.ForeignKeyConstraint(["trainer_id"], ["trainer.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("home_visit_by_day", "home_visit", ["client_id", "day"], unique=False)
    op.create_index("ix_home_visit_trainer_id", "home_visit", ["trainer_id"], unique=False)


def downgrade() -> None:
    op.drop_table("home_visit")
    op.drop_column("client", "address")
