"""The audit trail with its end on record, hashes of each client's days, values bound to columns"""

from hashlib import sha256

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None

FIRST = "0" * 64


def upgrade() -> None:
    op.add_column("audit", sa.Column("detail_hash", sa.String(), nullable=True))
    op.add_column("audit", sa.Column("key", sa.String(), nullable=True))
    op.create_table(
        "audit_head",
        sa.Column("practice_id", sa.Integer(), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.Column("hash", sa.String(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("mac", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["practice_id"], ["practice.id"]),
        sa.PrimaryKeyConstraint("practice_id"),
    )
    op.create_table(
        "day_seal",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("practice_id", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("client_id", sa.Integer(), nullable=True),
        sa.Column("rows_hash", sa.String(), nullable=False),
        sa.Column("words_hash", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["practice_id"], ["practice.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("practice_id", "day", "place"),
    )
    op.create_index("ix_day_seal_client_id", "day_seal", ["client_id"], unique=False)
    # A sealed database is from before values were bound: `rungwise keys rotate` brings them over.
    op.add_column(
        "sealing", sa.Column("audit_keys", sa.JSON(), nullable=False, server_default="[]")
    )
    op.add_column(
        "sealing", sa.Column("bound", sa.Boolean(), nullable=False, server_default=sa.false())
    )
    _note_ends()


def _note_ends() -> None:
    """The end of each practice's trail as it stands; keyed at the first start with a data key."""
    connection = op.get_bind()
    ends = connection.execute(
        sa.text(
            "SELECT practice.id, audit.number, audit.hash FROM practice LEFT JOIN audit "
            "ON audit.practice_id = practice.id AND audit.number = "
            "(SELECT max(number) FROM audit AS last WHERE last.practice_id = practice.id)"
        )
    ).all()
    for practice, number, last in ends:
        count, end = number or 0, last or FIRST
        mac = sha256(f"head\n{practice}\n{count}\n{end}".encode()).hexdigest()
        connection.execute(
            sa.text(
                "INSERT INTO audit_head (practice_id, count, hash, key, mac) "
                "VALUES (:practice, :count, :hash, '', :mac)"
            ),
            {"practice": practice, "count": count, "hash": end, "mac": mac},
        )


def downgrade() -> None:
    op.drop_column("sealing", "bound")
    op.drop_column("sealing", "audit_keys")
    op.drop_index("ix_day_seal_client_id", table_name="day_seal")
    op.drop_table("day_seal")
    op.drop_table("audit_head")
    op.drop_column("audit", "key")
    op.drop_column("audit", "detail_hash")
