"""Incidents: one chain of pages, the checklist after a fall, and a clinician's word

What is open and of one client becomes one incident. What was due for an alert stays due, and its
incident's pages go on as one chain from there.
"""

import secrets

import sqlalchemy as sa
from alembic import op

revision = "0020"
down_revision = "0019"
branch_labels = None
depends_on = None

SIGNS = "'emergency', 'distress', 'fall', 'dizziness', 'pain', 'near_fall', 'help', 'health_news'"
ALPHABET = "23456789abcdefghjkmnpqrstuvwxyz"


def upgrade() -> None:
    op.create_table(
        "incident",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("practice_id", sa.Integer(), nullable=False),
        sa.Column("client_id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("link", sa.String(), nullable=False),
        sa.Column("link_until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("pages", sa.Integer(), nullable=False),
        sa.Column("held_until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("held_by", sa.Integer(), nullable=True),
        sa.Column("opened_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("closed_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("cleared_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["client_id"], ["client.id"]),
        sa.ForeignKeyConstraint(["held_by"], ["trainer.id"]),
        sa.ForeignKeyConstraint(["practice_id"], ["practice.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("link"),
    )
    op.create_index("ix_incident_client_id", "incident", ["client_id"], unique=False)
    op.create_index("ix_incident_practice_id", "incident", ["practice_id"], unique=False)
    op.create_table(
        "fall_check",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("client_id", sa.Integer(), nullable=False),
        sa.Column("incident_id", sa.Integer(), nullable=False),
        sa.Column("trainer_id", sa.Integer(), nullable=False),
        sa.Column("answers", sa.JSON(), nullable=False),
        sa.Column("rules_version", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["client_id"], ["client.id"]),
        sa.ForeignKeyConstraint(["incident_id"], ["incident.id"]),
        sa.ForeignKeyConstraint(["trainer_id"], ["trainer.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_fall_check_client_id", "fall_check", ["client_id"], unique=False)
    op.create_index("ix_fall_check_incident_id", "fall_check", ["incident_id"], unique=False)
    op.create_table(
        "clinician_word",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("client_id", sa.Integer(), nullable=False),
        sa.Column("incident_id", sa.Integer(), nullable=False),
        sa.Column("trainer_id", sa.Integer(), nullable=False),
        sa.Column("clinician", sa.Text(), nullable=False),
        sa.Column("said_on", sa.Date(), nullable=False),
        sa.Column("by", sa.String(), nullable=False),
        sa.Column("examined", sa.Text(), nullable=False),
        sa.Column("allows", sa.Boolean(), nullable=False),
        sa.Column("from_day", sa.Date(), nullable=True),
        sa.Column("limits", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["client_id"], ["client.id"]),
        sa.ForeignKeyConstraint(["incident_id"], ["incident.id"]),
        sa.ForeignKeyConstraint(["trainer_id"], ["trainer.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_clinician_word_client_id", "clinician_word", ["client_id"], unique=False)
    op.create_index(
        "ix_clinician_word_incident_id", "clinician_word", ["incident_id"], unique=False
    )
    # By hand, for SQLite can add a column that refers to another table, and Alembic cannot say so.
    op.execute("ALTER TABLE alert ADD COLUMN incident_id INTEGER REFERENCES incident (id)")
    op.create_index("ix_alert_incident_id", "alert", ["incident_id"], unique=False)
    op.add_column(
        "alert", sa.Column("misread", sa.Boolean(), nullable=False, server_default=sa.false())
    )
    _gather()


def _gather() -> None:
    """Every open sign, and all else that is urgent, into one incident a client."""
    connection = op.get_bind()
    which = f"state <> 'handled' AND (kind IN ({SIGNS}) OR urgency = 'urgent')"
    rows = connection.execute(
        sa.text(
            "SELECT client_id, practice_id, MIN(opened_at), MAX(pages) "
            f"FROM alert WHERE {which} GROUP BY client_id, practice_id ORDER BY client_id"
        )
    ).all()
    for place, (client_id, practice_id, opened_at, pages) in enumerate(rows):
        link = "".join(secrets.choice(ALPHABET) for _ in range(8))
        connection.execute(
            sa.text(
                "INSERT INTO incident (client_id, practice_id, code, link, pages, opened_at) "
                "VALUES (:client, :practice, :code, :link, :pages, :at)"
            ),
            {
                "client": client_id, "practice": practice_id, "code": str(10 + place % 90),
                "link": link, "pages": pages, "at": opened_at,
            },
        )  # fmt: skip
        told = f"UPDATE alert SET incident_id = (SELECT id FROM incident WHERE link = :link) \
WHERE client_id = :client AND {which}"
        connection.execute(sa.text(told), {"link": link, "client": client_id})


def downgrade() -> None:
    op.get_bind().execute(
        sa.text(
            "INSERT INTO due (kind, subject_id, at) SELECT 'escalate', MIN(alert.id), MIN(due.at) "
            "FROM due JOIN alert ON alert.incident_id = due.subject_id WHERE due.kind = 'chain' "
            "AND alert.state <> 'handled' GROUP BY alert.incident_id"
        )
    )
    op.get_bind().execute(sa.text("DELETE FROM due WHERE kind = 'chain'"))
    op.drop_index("ix_alert_incident_id", "alert")
    op.drop_column("alert", "misread")
    op.drop_column("alert", "incident_id")
    op.drop_table("clinician_word")
    op.drop_table("fall_check")
    op.drop_table("incident")
