"""Corrections of the reading"""

import sqlalchemy as sa
from alembic import op


revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

# As for the other records of who did what: the database refuses a change, whoever asks.
SQLITE = [
    f"CREATE TRIGGER corrections_no_{verb.lower()} BEFORE {verb} ON corrections "
    "BEGIN SELECT RAISE(ABORT, 'corrections: entries are never changed or removed'); END"
    for verb in ("UPDATE", "DELETE")
]
POSTGRESQL = [
    "CREATE TRIGGER corrections_no_change BEFORE UPDATE OR DELETE ON corrections "
    "FOR EACH ROW EXECUTE FUNCTION refuse_change()",
    "CREATE TRIGGER corrections_no_truncate BEFORE TRUNCATE ON corrections "
    "FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()",
]


def upgrade() -> None:
    op.create_table(
        "corrections",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("message_id", sa.Integer(), nullable=False),
        sa.Column("kinds", sa.JSON(), nullable=False),
        sa.Column("cause", sa.Text(), nullable=True),
        sa.Column("account", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["message_id"], ["messages.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_corrections_message_id"), "corrections", ["message_id"])
    for statement in POSTGRESQL if op.get_bind().dialect.name == "postgresql" else SQLITE:
        op.execute(statement)
