"""The first tables."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "sessions",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("started", sa.String(length=27), nullable=False),
        sa.Column("operator", sa.Text(), nullable=False),
        sa.Column("scope", sa.Text(), nullable=False),
        sa.Column("criteria_id", sa.Text(), nullable=False),
        sa.Column("source_dark", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sessions")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_sessions_started"), "sessions", ["started"])

    op.create_table(
        "history",
        sa.Column("sequence", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("at", sa.String(length=27), nullable=False),
        sa.Column("kind", sa.String(length=32), nullable=False),
        sa.Column("session_id", sa.Integer(), nullable=True),
        sa.Column("subject_id", sa.Integer(), nullable=True),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("previous", sa.String(length=64), nullable=False),
        sa.Column("hash", sa.String(length=64), nullable=False),
        sa.ForeignKeyConstraint(["session_id"], ["sessions.id"], name=op.f("fk_history_session_id_sessions")),
        sa.PrimaryKeyConstraint("sequence", name=op.f("pk_history")),
        sa.UniqueConstraint("hash", name=op.f("uq_history_hash")),
    )
    op.create_index(op.f("ix_history_kind_subject_id"), "history", ["kind", "subject_id"])
    op.create_index(op.f("ix_history_session_id_kind"), "history", ["session_id", "kind"])

    op.create_table(
        "ports",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("session_id", sa.Integer(), nullable=False),
        sa.Column("label", sa.Text(), nullable=False),
        sa.Column("label_nfc", sa.Text(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["session_id"], ["sessions.id"], name=op.f("fk_ports_session_id_sessions")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_ports")),
        sa.UniqueConstraint("session_id", "label_nfc", name=op.f("uq_ports_session_id_label_nfc")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_ports_session_id_position"), "ports", ["session_id", "position"])
    op.create_index(op.f("ix_ports_label_nfc"), "ports", ["label_nfc"])

    op.create_table(
        "looks",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("session_id", sa.Integer(), nullable=False),
        sa.Column("port_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("taken", sa.String(length=27), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("seconds", sa.Double(), nullable=False),
        sa.Column("picture_sha256", sa.String(length=64), nullable=False),
        sa.Column("outcome", sa.String(length=16), nullable=False),
        sa.Column("criteria_id", sa.Text(), nullable=False),
        sa.Column("features", sa.Integer(), nullable=False),
        sa.Column("leading_cause", sa.String(length=32), nullable=True),
        sa.Column("leading_zone", sa.String(length=8), nullable=True),
        sa.Column("largest_defect_um", sa.Double(), nullable=True),
        sa.Column("widest_scratch_um", sa.Double(), nullable=True),
        sa.Column("reading", sa.Text(), nullable=False),
        sa.Column("verdict", sa.Text(), nullable=False),
        sa.CheckConstraint("length(picture_sha256) = 64", name=op.f("ck_looks_picture_sha256")),
        sa.CheckConstraint("number >= 1", name=op.f("ck_looks_number")),
        sa.ForeignKeyConstraint(["port_id"], ["ports.id"], name=op.f("fk_looks_port_id_ports")),
        sa.ForeignKeyConstraint(["session_id"], ["sessions.id"], name=op.f("fk_looks_session_id_sessions")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_looks")),
        sa.UniqueConstraint("port_id", "number", name=op.f("uq_looks_port_id_number")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_looks_criteria_id_taken"), "looks", ["criteria_id", "taken"])
    op.create_index(op.f("ix_looks_leading_cause_taken"), "looks", ["leading_cause", "taken"])
    op.create_index(op.f("ix_looks_leading_zone_taken"), "looks", ["leading_zone", "taken"])
    op.create_index(op.f("ix_looks_outcome_taken"), "looks", ["outcome", "taken"])
    op.create_index(op.f("ix_looks_picture_sha256"), "looks", ["picture_sha256"])
    op.create_index(op.f("ix_looks_session_id_taken"), "looks", ["session_id", "taken"])
    op.create_index(op.f("ix_looks_taken"), "looks", ["taken"])
    # The history only grows, and what the machine said of a picture stays for ever; whoever wants otherwise
    # must at least take these out first, and `verify` then still tells.
    for table in ("history", "looks"):
        for change in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER {table}_no_{change.lower()} BEFORE {change} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END"
            )


def downgrade() -> None:
    raise NotImplementedError("there is nothing before the first tables")
