"""The first tables"""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "carrier_state",
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("tokens", sa.Float(), nullable=False),
        sa.Column("filled_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("failures", sa.Integer(), nullable=False),
        sa.Column("retry_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("down_since", sa.DateTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("name"),
    )
    op.create_table(
        "demo_clock",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("ahead_s", sa.Float(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_table(
        "due",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("subject_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("local_date", sa.Date(), nullable=True),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("kind", "subject_id"),
    )
    op.create_index("due_next", "due", ["at"])

    op.create_table(
        "early_receipt",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("carrier", sa.String(), nullable=False),
        sa.Column("carrier_id", sa.String(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("detail", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("early_receipt_text", "early_receipt", ["carrier", "carrier_id"])
    op.create_index("ix_early_receipt_at", "early_receipt", ["at"])

    op.create_table(
        "last_tick",
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("name"),
    )
    op.create_table(
        "practice",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("phone", sa.Text(), nullable=False),
        sa.Column("country", sa.String(), nullable=False),
        sa.Column("language", sa.String(), nullable=False),
        sa.Column("time_zone", sa.String(), nullable=False),
        sa.Column("emergency_number", sa.String(), nullable=False),
        sa.Column("texts_from", sa.String(), nullable=False),
        sa.Column("texts_until", sa.String(), nullable=False),
        sa.Column("carrier", sa.String(), nullable=False),
        sa.Column("escalate_minutes", sa.Integer(), nullable=False),
        sa.Column("picture_address", sa.String(), nullable=True),
        sa.Column("is_demo", sa.Boolean(), nullable=False),
        sa.Column("needs_factor", sa.Boolean(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_practice_phone", "practice", ["phone"], unique=True)

    op.create_table(
        "sealing",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("key_ids", sa.JSON(), nullable=False),
        sa.Column("numbers_key", sa.Text(), nullable=False),
        sa.Column("whole", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_table(
        "sign_in_failure",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("subject", sa.String(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_sign_in_failure_at", "sign_in_failure", ["at"])
    op.create_index("ix_sign_in_failure_subject", "sign_in_failure", ["subject"])

    op.create_table(
        "number",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("practice_id", sa.Integer(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("carrier", sa.String(), nullable=False),
        sa.Column("phone", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["practice_id"],
            ["practice.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("phone"),
    )
    op.create_index("ix_number_practice_id", "number", ["practice_id"])

    op.create_table(
        "trainer",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("practice_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("email", sa.Text(), nullable=False),
        sa.Column("password_hash", sa.String(), nullable=False),
        sa.Column("role", sa.String(), nullable=False),
        sa.Column("phone", sa.Text(), nullable=True),
        sa.Column("second_contact_name", sa.Text(), nullable=True),
        sa.Column("second_contact_phone", sa.Text(), nullable=True),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("factor_secret", sa.Text(), nullable=True),
        sa.Column("factor_since", sa.DateTime(timezone=True), nullable=True),
        sa.Column("factor_step", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["practice_id"],
            ["practice.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("email"),
    )
    op.create_index("ix_trainer_practice_id", "trainer", ["practice_id"])

    op.create_table(
        "account_link",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("practice_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("token_hash", sa.String(), nullable=False),
        sa.Column("trainer_id", sa.Integer(), nullable=True),
        sa.Column("name", sa.Text(), nullable=True),
        sa.Column("email", sa.Text(), nullable=True),
        sa.Column("role", sa.String(), nullable=False),
        sa.Column("drops_factor", sa.Boolean(), nullable=False),
        sa.Column("made_by", sa.Integer(), nullable=True),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("used_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("revoked_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["made_by"],
            ["trainer.id"],
        ),
        sa.ForeignKeyConstraint(
            ["practice_id"],
            ["practice.id"],
        ),
        sa.ForeignKeyConstraint(
            ["trainer_id"],
            ["trainer.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("token_hash"),
    )
    op.create_index("ix_account_link_practice_id", "account_link", ["practice_id"])

    op.create_table(
        "audit",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("practice_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("trainer_id", sa.Integer(), nullable=True),
        sa.Column("client_id", sa.Integer(), nullable=True),
        sa.Column("action", sa.String(), nullable=False),
        sa.Column("detail", sa.JSON(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("hash", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(
            ["practice_id"],
            ["practice.id"],
        ),
        sa.ForeignKeyConstraint(
            ["trainer_id"],
            ["trainer.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("practice_id", "number"),
    )
    op.create_index("ix_audit_client_id", "audit", ["client_id"])
    op.create_index("ix_audit_practice_id", "audit", ["practice_id"])

    op.create_table(
        "client",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("practice_id", sa.Integer(), nullable=False),
        sa.Column("trainer_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("called", sa.Text(), nullable=False),
        sa.Column("phone", sa.Text(), nullable=False),
        sa.Column("number_id", sa.Integer(), nullable=True),
        sa.Column("language", sa.String(), nullable=False),
        sa.Column("time_zone", sa.String(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("state_since", sa.DateTime(timezone=True), nullable=False),
        sa.Column("stopped_from", sa.String(), nullable=True),
        sa.Column("consent_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("consent_wording", sa.Text(), nullable=True),
        sa.Column("unreadable_run", sa.Integer(), nullable=False),
        sa.Column("last_reply_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["number_id"],
            ["number.id"],
        ),
        sa.ForeignKeyConstraint(
            ["practice_id"],
            ["practice.id"],
        ),
        sa.ForeignKeyConstraint(
            ["trainer_id"],
            ["trainer.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("practice_id", "phone"),
    )
    op.create_index("ix_client_phone", "client", ["phone"])
    op.create_index("ix_client_practice_id", "client", ["practice_id"])
    op.create_index("ix_client_trainer_id", "client", ["trainer_id"])

    op.create_table(
        "duty",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("practice_id", sa.Integer(), nullable=False),
        sa.Column("trainer_id", sa.Integer(), nullable=False),
        sa.Column("weekday", sa.Integer(), nullable=False),
        sa.Column("begins", sa.String(), nullable=False),
        sa.Column("ends", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(
            ["practice_id"],
            ["practice.id"],
        ),
        sa.ForeignKeyConstraint(
            ["trainer_id"],
            ["trainer.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_duty_practice_id", "duty", ["practice_id"])

    op.create_table(
        "own_wording",
        sa.Column("practice_id", sa.Integer(), nullable=False),
        sa.Column("language", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("set_by", sa.Integer(), nullable=True),
        sa.Column("set_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["practice_id"],
            ["practice.id"],
        ),
        sa.ForeignKeyConstraint(
            ["set_by"],
            ["trainer.id"],
        ),
        sa.PrimaryKeyConstraint("practice_id", "language", "name"),
    )
    op.create_table(
        "recovery_code",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("trainer_id", sa.Integer(), nullable=False),
        sa.Column("code_hash", sa.String(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("used_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["trainer_id"],
            ["trainer.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("code_hash"),
    )
    op.create_index("ix_recovery_code_trainer_id", "recovery_code", ["trainer_id"])

    op.create_table(
        "sign_in",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("trainer_id", sa.Integer(), nullable=False),
        sa.Column("token_hash", sa.String(), nullable=False),
        sa.Column("csrf", sa.String(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("revoked_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("browser", sa.String(), nullable=False),
        sa.Column("half", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(
            ["trainer_id"],
            ["trainer.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("token_hash"),
    )
    op.create_index("ix_sign_in_trainer_id", "sign_in", ["trainer_id"])

    op.create_table(
        "trainer_feed",
        sa.Column("trainer_id", sa.Integer(), nullable=False),
        sa.Column("calendar_hash", sa.String(), nullable=True),
        sa.Column("calendar_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("digest_due", sa.DateTime(timezone=True), nullable=True),
        sa.Column("digest_tries", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["trainer_id"],
            ["trainer.id"],
        ),
        sa.PrimaryKeyConstraint("trainer_id"),
        sa.UniqueConstraint("calendar_hash"),
    )
    op.create_index("ix_trainer_feed_digest_due", "trainer_feed", ["digest_due"])

    op.create_table(
        "alert",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("practice_id", sa.Integer(), nullable=False),
        sa.Column("client_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("urgency", sa.String(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("system_did", sa.Text(), nullable=False),
        sa.Column("opened_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("last_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("pages", sa.Integer(), nullable=False),
        sa.Column("paged_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("seen_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("seen_by", sa.Integer(), nullable=True),
        sa.Column("handled_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("handled_by", sa.Integer(), nullable=True),
        sa.Column("what_done", sa.Text(), nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("resume_key", sa.String(), nullable=True),
        sa.ForeignKeyConstraint(
            ["client_id"],
            ["client.id"],
        ),
        sa.ForeignKeyConstraint(
            ["handled_by"],
            ["trainer.id"],
        ),
        sa.ForeignKeyConstraint(
            ["practice_id"],
            ["practice.id"],
        ),
        sa.ForeignKeyConstraint(
            ["seen_by"],
            ["trainer.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("alert_inbox", "alert", ["practice_id", "state", "urgency", "last_at"])
    op.create_index(
        "alert_open",
        "alert",
        ["client_id", "kind"],
        unique=True,
        sqlite_where=sa.text("state <> 'handled'"),
        postgresql_where=sa.text("state <> 'handled'"),
    )
    op.create_index("ix_alert_client_id", "alert", ["client_id"])

    op.create_table(
        "baseline",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("client_id", sa.Integer(), nullable=False),
        sa.Column("trainer_id", sa.Integer(), nullable=False),
        sa.Column("held_s", sa.JSON(), nullable=False),
        sa.Column("suggested_key", sa.String(), nullable=False),
        sa.Column("because", sa.Text(), nullable=False),
        sa.Column("on", sa.Date(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["client_id"],
            ["client.id"],
        ),
        sa.ForeignKeyConstraint(
            ["trainer_id"],
            ["trainer.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_baseline_client_id", "baseline", ["client_id"])

    op.create_table(
        "client_note",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("client_id", sa.Integer(), nullable=False),
        sa.Column("trainer_id", sa.Integer(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["client_id"],
            ["client.id"],
        ),
        sa.ForeignKeyConstraint(
            ["trainer_id"],
            ["trainer.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_client_note_client_id", "client_note", ["client_id"])

    op.create_table(
        "home_setup",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("client_id", sa.Integer(), nullable=False),
        sa.Column("trainer_id", sa.Integer(), nullable=False),
        sa.Column("in_place", sa.JSON(), nullable=False),
        sa.Column("someone", sa.Text(), nullable=True),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["client_id"],
            ["client.id"],
        ),
        sa.ForeignKeyConstraint(
            ["trainer_id"],
            ["trainer.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_home_setup_client_id", "home_setup", ["client_id"])

    op.create_table(
        "message",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("practice_id", sa.Integer(), nullable=False),
        sa.Column("client_id", sa.Integer(), nullable=True),
        sa.Column("trainer_id", sa.Integer(), nullable=True),
        sa.Column("direction", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("from_phone", sa.Text(), nullable=False),
        sa.Column("to_phone", sa.Text(), nullable=False),
        sa.Column("carrier", sa.String(), nullable=False),
        sa.Column("carrier_id", sa.String(), nullable=True),
        sa.Column("once_key", sa.String(), nullable=True),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("rank", sa.Integer(), nullable=False),
        sa.Column("problem", sa.Text(), nullable=True),
        sa.Column("media_url", sa.Text(), nullable=True),
        sa.Column("pictures", sa.JSON(), nullable=True),
        sa.Column("local_date", sa.Date(), nullable=True),
        sa.Column("rung_key", sa.String(), nullable=True),
        sa.Column("answers_id", sa.Integer(), nullable=True),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("not_before", sa.DateTime(timezone=True), nullable=True),
        sa.Column("not_after", sa.DateTime(timezone=True), nullable=True),
        sa.Column("lease_until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("sent_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("settled_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("context", sa.JSON(), nullable=True),
        sa.Column("reading", sa.JSON(), nullable=True),
        sa.Column("reader_version", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["answers_id"],
            ["message.id"],
        ),
        sa.ForeignKeyConstraint(
            ["client_id"],
            ["client.id"],
        ),
        sa.ForeignKeyConstraint(
            ["practice_id"],
            ["practice.id"],
        ),
        sa.ForeignKeyConstraint(
            ["trainer_id"],
            ["trainer.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("carrier", "direction", "carrier_id"),
        sa.UniqueConstraint("once_key"),
    )
    op.create_index("ix_message_practice_id", "message", ["practice_id"])
    op.create_index(
        "message_leased",
        "message",
        ["lease_until"],
        sqlite_where=sa.text("state = 'sending'"),
        postgresql_where=sa.text("state = 'sending'"),
    )
    op.create_index(
        "message_outbox",
        "message",
        ["carrier", "rank", "id"],
        sqlite_where=sa.text("state = 'queued'"),
        postgresql_where=sa.text("state = 'queued'"),
    )
    op.create_index("message_thread", "message", ["client_id", "id"])

    op.create_table(
        "picture_link",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("client_id", sa.Integer(), nullable=False),
        sa.Column("token_hash", sa.String(), nullable=False),
        sa.Column("rung_key", sa.String(), nullable=False),
        sa.Column("made_by", sa.Integer(), nullable=True),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("revoked_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["client_id"],
            ["client.id"],
        ),
        sa.ForeignKeyConstraint(
            ["made_by"],
            ["trainer.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("token_hash"),
    )
    op.create_index("ix_picture_link_client_id", "picture_link", ["client_id"])

    op.create_table(
        "placement",
        sa.Column("client_id", sa.Integer(), nullable=False),
        sa.Column("rung_key", sa.String(), nullable=False),
        sa.Column("plan_version", sa.Integer(), nullable=False),
        sa.Column("since", sa.Date(), nullable=False),
        sa.Column("set_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["client_id"],
            ["client.id"],
        ),
        sa.PrimaryKeyConstraint("client_id"),
    )
    op.create_table(
        "plan",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("client_id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("settings", sa.JSON(), nullable=False),
        sa.Column("profile", sa.JSON(), nullable=False),
        sa.Column("set_by", sa.Integer(), nullable=True),
        sa.Column("set_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["client_id"],
            ["client.id"],
        ),
        sa.ForeignKeyConstraint(
            ["set_by"],
            ["trainer.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("client_id", "version"),
    )
    op.create_index("ix_plan_client_id", "plan", ["client_id"])

    op.create_table(
        "report",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("client_id", sa.Integer(), nullable=False),
        sa.Column("local_date", sa.Date(), nullable=False),
        sa.Column("rung_key", sa.String(), nullable=False),
        sa.Column("message_ids", sa.JSON(), nullable=False),
        sa.Column("told", sa.JSON(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("superseded_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["client_id"],
            ["client.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_report_client_id", "report", ["client_id"])
    op.create_index(
        "report_current",
        "report",
        ["client_id", "local_date"],
        unique=True,
        sqlite_where=sa.text("superseded_at IS NULL"),
        postgresql_where=sa.text("superseded_at IS NULL"),
    )

    op.create_table(
        "retest",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("client_id", sa.Integer(), nullable=False),
        sa.Column("trainer_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("age", sa.Integer(), nullable=False),
        sa.Column("sex", sa.String(), nullable=True),
        sa.Column("measured", sa.JSON(), nullable=False),
        sa.Column("score", sa.JSON(), nullable=False),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("withdrawn_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("withdrawn_by", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["client_id"],
            ["client.id"],
        ),
        sa.ForeignKeyConstraint(
            ["trainer_id"],
            ["trainer.id"],
        ),
        sa.ForeignKeyConstraint(
            ["withdrawn_by"],
            ["trainer.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("retest_history", "retest", ["client_id", "day"])

    op.create_table(
        "review_rhythm",
        sa.Column("client_id", sa.Integer(), nullable=False),
        sa.Column("every_weeks", sa.Integer(), nullable=False),
        sa.Column("called_on", sa.Date(), nullable=True),
        sa.Column("weekly_text", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(
            ["client_id"],
            ["client.id"],
        ),
        sa.PrimaryKeyConstraint("client_id"),
    )
    op.create_table(
        "screening",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("client_id", sa.Integer(), nullable=False),
        sa.Column("trainer_id", sa.Integer(), nullable=False),
        sa.Column("answers", sa.JSON(), nullable=False),
        sa.Column("outcome", sa.String(), nullable=False),
        sa.Column("rules_version", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("clinician", sa.Text(), nullable=True),
        sa.Column("clinician_said", sa.Text(), nullable=True),
        sa.Column("clinician_allows", sa.Boolean(), nullable=True),
        sa.Column("recorded_by", sa.Integer(), nullable=True),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["client_id"],
            ["client.id"],
        ),
        sa.ForeignKeyConstraint(
            ["recorded_by"],
            ["trainer.id"],
        ),
        sa.ForeignKeyConstraint(
            ["trainer_id"],
            ["trainer.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_screening_client_id", "screening", ["client_id"])

    op.create_table(
        "trainers_words",
        sa.Column("client_id", sa.Integer(), nullable=False),
        sa.Column("to_colleagues", sa.Text(), nullable=False),
        sa.Column("to_client", sa.Text(), nullable=False),
        sa.Column("set_by", sa.Integer(), nullable=False),
        sa.Column("set_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["client_id"],
            ["client.id"],
        ),
        sa.ForeignKeyConstraint(
            ["set_by"],
            ["trainer.id"],
        ),
        sa.PrimaryKeyConstraint("client_id"),
    )
    op.create_table(
        "alert_message",
        sa.Column("alert_id", sa.Integer(), nullable=False),
        sa.Column("message_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["alert_id"],
            ["alert.id"],
        ),
        sa.ForeignKeyConstraint(
            ["message_id"],
            ["message.id"],
        ),
        sa.PrimaryKeyConstraint("alert_id", "message_id"),
    )
    op.create_table(
        "inbound_part",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("carrier", sa.String(), nullable=False),
        sa.Column("carrier_id", sa.String(), nullable=False),
        sa.Column("from_phone", sa.Text(), nullable=False),
        sa.Column("to_phone", sa.Text(), nullable=False),
        sa.Column("reference", sa.Integer(), nullable=False),
        sa.Column("total", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("message_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["message_id"],
            ["message.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("carrier", "carrier_id"),
    )
    op.create_index("inbound_part_whole", "inbound_part", ["from_phone", "reference", "total"])

    op.create_table(
        "move",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("client_id", sa.Integer(), nullable=False),
        sa.Column("local_date", sa.Date(), nullable=False),
        sa.Column("report_id", sa.Integer(), nullable=True),
        sa.Column("trainer_id", sa.Integer(), nullable=True),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("from_key", sa.String(), nullable=False),
        sa.Column("to_key", sa.String(), nullable=False),
        sa.Column("rule", sa.String(), nullable=False),
        sa.Column("because", sa.Text(), nullable=False),
        sa.Column("alerts", sa.JSON(), nullable=False),
        sa.Column("facts", sa.JSON(), nullable=False),
        sa.Column("rule_version", sa.Integer(), nullable=False),
        sa.Column("plan_version", sa.Integer(), nullable=False),
        sa.Column("resting", sa.Boolean(), nullable=False),
        sa.Column("decided_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("superseded_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["client_id"],
            ["client.id"],
        ),
        sa.ForeignKeyConstraint(
            ["report_id"],
            ["report.id"],
        ),
        sa.ForeignKeyConstraint(
            ["trainer_id"],
            ["trainer.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("move_history", "move", ["client_id", "id"])

    op.create_table(
        "question",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("client_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("local_date", sa.Date(), nullable=False),
        sa.Column("asked_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("answered_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("answer_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["answer_id"],
            ["message.id"],
        ),
        sa.ForeignKeyConstraint(
            ["client_id"],
            ["client.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("question_open", "question", ["client_id", "answered_at"])


def downgrade() -> None:
    # Those that refer to others first.
    for table in (
        "question",
        "move",
        "inbound_part",
        "alert_message",
        "trainers_words",
        "screening",
        "review_rhythm",
        "retest",
        "report",
        "plan",
        "placement",
        "picture_link",
        "message",
        "home_setup",
        "client_note",
        "baseline",
        "alert",
        "trainer_feed",
        "sign_in",
        "recovery_code",
        "own_wording",
        "duty",
        "client",
        "audit",
        "account_link",
        "trainer",
        "number",
        "sign_in_failure",
        "sealing",
        "practice",
        "last_tick",
        "early_receipt",
        "due",
        "demo_clock",
        "carrier_state",
    ):
        op.drop_table(table)
