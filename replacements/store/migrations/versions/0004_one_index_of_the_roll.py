"""One index of the roll, the lines of the last file, and what imports changed about voters

The keys of before are dropped: when the program is started next it makes the new index of the voters on record.

Not beside the work: the version before finds nobody without its keys, and while each voter gets a number every row is
written anew and nobody reads the table. Stop its pages and workers first."""

import sqlalchemy as sa
from alembic import op

from replacements.store.beside_work import create_index


revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

# As for the other records of what happened: the database refuses a change, whoever asks.
SQLITE = [
    f"CREATE TRIGGER voter_changes_no_{verb.lower()} BEFORE {verb} ON voter_changes "
    "BEGIN SELECT RAISE(ABORT, 'voter_changes: entries are never changed or removed'); END"
    for verb in ("UPDATE", "DELETE")
]
POSTGRESQL = [
    "CREATE TRIGGER voter_changes_no_change BEFORE UPDATE OR DELETE ON voter_changes "
    "FOR EACH ROW EXECUTE FUNCTION refuse_change()",
    "CREATE TRIGGER voter_changes_no_truncate BEFORE TRUNCATE ON voter_changes "
    "FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()",
]


def upgrade() -> None:
    # A try that was broken off at the index has numbered them.
    if "number" not in {column["name"] for column in sa.inspect(op.get_bind()).get_columns("voters")}:
        op.drop_table("voter_keys")
        op.execute("DELETE FROM name_counts WHERE part = 'keys'")
        op.add_column("voters", sa.Column("number", sa.Integer(), nullable=True))
        op.execute(
            "UPDATE voters SET number = counted.number FROM "
            "(SELECT voter_id, row_number() OVER (ORDER BY voter_id) AS number FROM voters) AS counted "
            "WHERE counted.voter_id = voters.voter_id"
        )
    create_index("one_number_a_voter", "voters", ["number"], unique=True)
    op.create_table(
        "roll_buckets",
        sa.Column("bucket", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("postings", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("bucket"),
    )
    op.create_table(
        "roll_lines",
        sa.Column("chunk", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("lines", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("chunk"),
    )
    op.create_table(
        "roll_imports",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("form", sa.Text(), nullable=False),
        *(sa.Column(name, sa.Integer(), nullable=False) for name in ("lines", "added", "changed", "removed", "refused", "highest")),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_table(
        "voter_changes",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("voter_id", sa.Text(), nullable=False),
        sa.Column("import_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        *(sa.Column(name, sa.Text(), nullable=False) for name in ("field", "was", "became")),
        sa.ForeignKeyConstraint(["import_id"], ["roll_imports.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_voter_changes_voter_id"), "voter_changes", ["voter_id"], unique=False)
    for statement in POSTGRESQL if op.get_bind().dialect.name == "postgresql" else SQLITE:
        op.execute(statement)
