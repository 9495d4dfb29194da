"""Mailings that add up: three counts, signatures that name what was signed, barcodes on record, books of the stock

Signatures of before counted sealed packets, and stand for the manifest as it is. What was on hand becomes the opening
entry of its style.

Not beside the work: the signatures are written anew in another form and the stock in another table, which the version
before does not know. Stop its pages and workers first."""

import json
from datetime import datetime

import sqlalchemy as sa
from alembic import op


revision = "0008"
down_revision = "0005"
branch_labels = None
depends_on = None

# What two people agreed on, or a mailing used, is never changed: the database refuses it, whoever asks.
SQLITE = [
    *(
        f"CREATE TRIGGER signatures_no_{verb.lower()} BEFORE {verb} ON signatures "
        "BEGIN SELECT RAISE(ABORT, 'signatures: entries are never changed or removed'); END"
        for verb in ("UPDATE", "DELETE")
    ),
    "CREATE TRIGGER stock_entries_no_update BEFORE UPDATE ON stock_entries WHEN OLD.state <> 'waiting' "
    "BEGIN SELECT RAISE(ABORT, 'stock_entries: entries are never changed or removed'); END",
    "CREATE TRIGGER stock_entries_no_delete BEFORE DELETE ON stock_entries "
    "BEGIN SELECT RAISE(ABORT, 'stock_entries: entries are never changed or removed'); END",
]
POSTGRESQL = [
    "CREATE TRIGGER signatures_no_change BEFORE UPDATE OR DELETE ON signatures "
    "FOR EACH ROW EXECUTE FUNCTION refuse_change()",
    "CREATE TRIGGER signatures_no_truncate BEFORE TRUNCATE ON signatures "
    "FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()",
    "CREATE TRIGGER stock_entries_no_update BEFORE UPDATE ON stock_entries FOR EACH ROW "
    "WHEN (OLD.state <> 'waiting') EXECUTE FUNCTION refuse_change()",
    "CREATE TRIGGER stock_entries_no_delete BEFORE DELETE ON stock_entries "
    "FOR EACH ROW EXECUTE FUNCTION refuse_change()",
    "CREATE TRIGGER stock_entries_no_truncate BEFORE TRUNCATE ON stock_entries "
    "FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()",
]


def upgrade() -> None:
    op.add_column("packets", sa.Column("channel", sa.Text(), nullable=False, server_default="post"))
    op.add_column("packets", sa.Column("tracking", sa.Text(), nullable=True))
    op.add_column("packets", sa.Column("routing", sa.Text(), nullable=True))
    _signatures()
    _stock()
    for statement in POSTGRESQL if op.get_bind().dialect.name == "postgresql" else SQLITE:
        op.execute(statement)


def _signatures() -> None:
    """The table is made anew: the database refuses a change of its rows, and SQLite one of its constraint."""
    bind = op.get_bind()
    manifests = bind.execute(sa.text("SELECT id, manifest FROM mailings WHERE manifest IS NOT NULL")).all()
    signed = {
        mailing_id: (json.loads(text) if isinstance(text, str) else text) or {} for mailing_id, text in manifests
    }
    rows = bind.execute(sa.text("SELECT mailing_id, account, counted, at FROM signatures ORDER BY id")).mappings().all()
    op.drop_table("signatures")
    table = op.create_table(
        "signatures",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("mailing_id", sa.Integer(), nullable=False),
        sa.Column("account", sa.Text(), nullable=False),
        sa.Column("picked", sa.Integer(), nullable=True),
        sa.Column("labelled", sa.Integer(), nullable=True),
        sa.Column("sealed", sa.Integer(), nullable=False),
        sa.Column("electronic", sa.Integer(), nullable=True),
        sa.Column("sha256", sa.Text(), nullable=False, server_default=""),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["mailing_id"], ["mailings.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("mailing_id", "account", "sha256", name="two_different_people"),
    )
    for row in rows:
        at = datetime.fromisoformat(row["at"]) if isinstance(row["at"], str) else row["at"]
        sha256 = signed.get(row["mailing_id"], {}).get("sha256", "")
        values = {"mailing_id": row["mailing_id"], "account": row["account"], "sealed": row["counted"], "at": at}
        bind.execute(sa.insert(table).values(sha256=sha256, **values))


def _stock() -> None:
    op.create_table(
        "stock_entries",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("election_id", sa.Text(), nullable=False),
        *(sa.Column(name, sa.Text(), nullable=False) for name in ("style", "kind", "state")),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("change", sa.Integer(), nullable=True),
        sa.Column("first_by", sa.Text(), nullable=False),
        sa.Column("first_at", sa.DateTime(), nullable=False),
        sa.Column("second_by", sa.Text(), nullable=True),
        sa.Column("second_at", sa.DateTime(), nullable=True),
        sa.Column("second_number", sa.Integer(), nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("mailing_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["election_id"], ["elections.id"]),
        sa.ForeignKeyConstraint(["mailing_id"], ["mailings.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("stock_entries_of_a_style", "stock_entries", ["election_id", "style"])
    waiting = sa.text("state = 'waiting'")
    op.create_index(
        "one_stock_entry_waits",
        "stock_entries",
        ["election_id", "style", "kind"],
        unique=True,
        sqlite_where=waiting,
        postgresql_where=waiting,
    )
    op.execute(
        "INSERT INTO stock_entries (election_id, style, kind, state, number, change, first_by, first_at, note) "
        "SELECT election_id, style, 'opening', 'agreed', on_hand, on_hand, 'before', CURRENT_TIMESTAMP, "
        "'as it stood when the books were opened' FROM stock"
    )
    op.drop_table("stock")
