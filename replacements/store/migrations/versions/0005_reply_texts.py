"""Texts of replies that an office has put in place of the project's own"""

import sqlalchemy as sa
from alembic import op


revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

TABLES = ("reply_texts", "reply_text_decisions")
OWN_TEXT = "reply_text_decisions: a text is approved by somebody other than its writer"
BY_THE_WRITER = (
    "NEW.approved AND lower(NEW.\"by\") = (SELECT lower(written_by) FROM reply_texts WHERE id = NEW.text_id)"
)

SQLITE = [
    *(
        f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} "
        f"BEGIN SELECT RAISE(ABORT, '{table}: entries are never changed or removed'); END"
        for table in TABLES
        for verb in ("UPDATE", "DELETE")
    ),
    f"CREATE TRIGGER reply_text_two_people BEFORE INSERT ON reply_text_decisions WHEN {BY_THE_WRITER} "
    f"BEGIN SELECT RAISE(ABORT, '{OWN_TEXT}'); END",
]
POSTGRESQL = [
    *(
        f"CREATE TRIGGER {table}_no_change BEFORE UPDATE OR DELETE ON {table} "
        "FOR EACH ROW EXECUTE FUNCTION refuse_change()"
        for table in TABLES
    ),
    *(
        f"CREATE TRIGGER {table}_no_truncate BEFORE TRUNCATE ON {table} "
        "FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()"
        for table in TABLES
    ),
    "CREATE FUNCTION two_people_for_a_text() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
    f"IF {BY_THE_WRITER} THEN RAISE EXCEPTION '{OWN_TEXT}'; END IF; RETURN NEW; END $$",
    "CREATE TRIGGER reply_text_two_people BEFORE INSERT ON reply_text_decisions "
    "FOR EACH ROW EXECUTE FUNCTION two_people_for_a_text()",
]


def upgrade() -> None:
    op.create_table(
        "reply_texts",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("language", sa.Text(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("subject", sa.Text(), nullable=False),
        sa.Column("body", sa.Text(), nullable=True),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("written_by", sa.Text(), nullable=False),
        sa.Column("written_at", sa.DateTime(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("name", "language", "version", name="one_text_a_version"),
    )
    op.create_table(
        "reply_text_decisions",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("text_id", sa.Integer(), nullable=False),
        sa.Column("approved", sa.Boolean(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["text_id"], ["reply_texts.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("text_id"),
    )
    for statement in POSTGRESQL if op.get_bind().dialect.name == "postgresql" else SQLITE:
        op.execute(statement)
