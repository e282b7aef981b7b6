"""Falls as trainers record them, asking about falls, and what a question was answered with"""

import sqlalchemy as sa
from alembic import op

revision = "0012"
down_revision = "0011"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "fall",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("client_id", sa.Integer(), nullable=False),
        sa.Column("alert_id", sa.Integer(), nullable=True),
        sa.Column("first", sa.Date(), nullable=False),
        sa.Column("last", sa.Date(), nullable=False),
        sa.Column("happened", sa.Boolean(), nullable=False),
        sa.Column("place", sa.String(), nullable=True),
        sa.Column("doing", sa.String(), nullable=True),
        sa.Column("head_struck", sa.String(), nullable=True),
        sa.Column("on_floor", sa.String(), nullable=True),
        sa.Column("new_signs", sa.String(), nullable=True),
        sa.Column("stands_as_before", sa.String(), nullable=True),
        sa.Column("injury", sa.String(), nullable=True),
        sa.Column("care", sa.String(), nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("recorded_by", sa.Integer(), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["alert_id"],
            ["alert.id"],
        ),
        sa.ForeignKeyConstraint(
            ["client_id"],
            ["client.id"],
        ),
        sa.ForeignKeyConstraint(
            ["recorded_by"],
            ["trainer.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("fall_history", "fall", ["client_id", "first"], unique=False)
    op.create_index("ix_fall_alert_id", "fall", ["alert_id"], unique=False)
    op.add_column("question", sa.Column("since", sa.Date(), nullable=True))
    op.add_column("question", sa.Column("answer", sa.String(), nullable=True))
    # Practices that text already are not made to ask; their lead may choose it.
    op.add_column(
        "practice",
        sa.Column("falls_every_weeks", sa.Integer(), server_default="0", nullable=False),
    )
    op.add_column(
        "review_rhythm",
        sa.Column("falls_asked", sa.Boolean(), server_default=sa.true(), nullable=False),
    )


def downgrade() -> None:
    op.drop_column("review_rhythm", "falls_asked")
    op.drop_column("practice", "falls_every_weeks")
    op.drop_column("question", "answer")
    op.drop_column("question", "since")
    op.drop_table("fall")
