"""Two settings of the rule compared by lot"""

import sqlalchemy as sa
from alembic import op

revision = "0027"
down_revision = "0026"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "comparison",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("practice_id", sa.Integer(), nullable=False),
        sa.Column("first", sa.String(), nullable=False),
        sa.Column("second", sa.String(), nullable=False),
        sa.Column("outcome", sa.String(), nullable=False),
        sa.Column("days", sa.Integer(), nullable=False),
        sa.Column("lots", sa.Integer(), nullable=False),
        sa.Column("falls_apart", sa.Integer(), nullable=False),
        sa.Column("ethics", sa.Text(), nullable=False),
        sa.Column("seed", sa.Text(), nullable=False),
        sa.Column("drawn", sa.Integer(), nullable=False),
        sa.Column("locked_by", sa.Integer(), nullable=False),
        sa.Column("locked_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("ended_why", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["locked_by"], ["trainer.id"]),
        sa.ForeignKeyConstraint(["practice_id"], ["practice.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_comparison_practice_id", "comparison", ["practice_id"], unique=False)
    op.create_table(
        "compared_client",
        sa.Column("comparison_id", sa.Integer(), nullable=False),
        sa.Column("client_id", sa.Integer(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("arm", sa.String(), nullable=False),
        sa.Column("agreed_on", sa.Date(), nullable=False),
        sa.Column("drawn_by", sa.Integer(), nullable=False),
        sa.Column("drawn_on", sa.Date(), nullable=False),
        sa.Column("drawn_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("withdrawn_on", sa.Date(), nullable=True),
        sa.ForeignKeyConstraint(["client_id"], ["client.id"]),
        sa.ForeignKeyConstraint(["comparison_id"], ["comparison.id"]),
        sa.ForeignKeyConstraint(["drawn_by"], ["trainer.id"]),
        sa.PrimaryKeyConstraint("comparison_id", "client_id"),
    )
    op.create_index("ix_compared_client_client_id", "compared_client", ["client_id"], unique=False)
    op.create_index(
        "compared_client_place", "compared_client", ["comparison_id", "place"], unique=True
    )


def downgrade() -> None:
    op.drop_table("compared_client")
    op.drop_table("comparison")
