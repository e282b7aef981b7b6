"""Acts over many clients, trainers' own tags, and saved views of the list"""

import sqlalchemy as sa
from alembic import op

revision = "0013"
down_revision = "0012"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("practice", sa.Column("segment_price", sa.String(), nullable=True))
    op.create_table(
        "tag",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("trainer_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["trainer_id"], ["trainer.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_tag_trainer_id", "tag", ["trainer_id"], unique=False)
    op.create_table(
        "client_tag",
        sa.Column("tag_id", sa.Integer(), nullable=False),
        sa.Column("client_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["tag_id"], ["tag.id"]),
        sa.ForeignKeyConstraint(["client_id"], ["client.id"]),
        sa.PrimaryKeyConstraint("tag_id", "client_id"),
    )
    op.create_index("ix_client_tag_client_id", "client_tag", ["client_id"], unique=False)
    op.create_table(
        "saved_view",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("trainer_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("asked", sa.Text(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["trainer_id"], ["trainer.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_saved_view_trainer_id", "saved_view", ["trainer_id"], unique=False)
    op.create_table(
        "group_act",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("trainer_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("asked", sa.JSON(), nullable=False),
        sa.Column("once", sa.String(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("undone_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["trainer_id"], ["trainer.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("once"),
    )
    op.create_index("group_act_latest", "group_act", ["trainer_id", "id"], unique=False)
    op.create_table(
        "group_act_client",
        sa.Column("act_id", sa.Integer(), nullable=False),
        sa.Column("client_id", sa.Integer(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("why", sa.String(), nullable=True),
        sa.Column("before", sa.JSON(), nullable=True),
        sa.Column("message_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["act_id"], ["group_act.id"]),
        sa.ForeignKeyConstraint(["client_id"], ["client.id"]),
        sa.ForeignKeyConstraint(["message_id"], ["message.id"]),
        sa.PrimaryKeyConstraint("act_id", "client_id"),
    )
    op.create_index(
        "ix_group_act_client_client_id", "group_act_client", ["client_id"], unique=False
    )
    op.create_index(
        "ix_group_act_client_message_id", "group_act_client", ["message_id"], unique=False
    )


def downgrade() -> None:
    op.drop_table("group_act_client")
    op.drop_table("group_act")
    op.drop_table("saved_view")
    op.drop_table("client_tag")
    op.drop_table("tag")
    op.drop_column("practice", "segment_price")
