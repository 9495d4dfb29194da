"""The election of a reply, indexes by whom it went to and by the mailing of a packet, and quicker sums of days

How many replies of an election went in a week was found by way of their requests; whether somebody has had the same
words already, by reading all replies; what was mailed in a week, by reading all packets.
"""

import sqlalchemy as sa
from alembic import op

from replacements.store import carried_over
from replacements.store.beside_work import create_index, lot_by_lot


revision = "0023"
down_revision = "0022"
branch_labels = None
depends_on = None


def upgrade() -> None:
    if op.get_bind().dialect.name == "sqlite":
        _in_the_order_of_the_key()
    else:
        create_index("requests_that_came", "requests", ["election_id", "received_at"], include=["kinds", "language"])
    there = {column["name"] for column in sa.inspect(op.get_bind()).get_columns("replies")}
    if "election_id" not in there:  # a try that was broken off later has made it
        op.add_column("replies", sa.Column("election_id", sa.Text(), nullable=True))
    create_index("replies_of_an_election", "replies", ["election_id", "state", "sent_at", "request_id"])
    create_index("replies_to_an_address", "replies", [sa.text('lower("to")')])
    create_index("packets_of_a_mailing", "packets", ["mailing_id", "state", "received_at", "request_id"])
    for former in ("replies_of_a_week", "ix_packets_mailing_id"):
        op.execute(f"DROP INDEX IF EXISTS {former}")
    with lot_by_lot("replies") as live:
        for _ in carried_over.fill(live, "replies"):
            pass


def _in_the_order_of_the_key() -> None:
    """SQLite keeps the sums of days where their key is, and need not look each up."""
    (as_made,) = op.get_bind().exec_driver_sql("SELECT sql FROM sqlite_master WHERE name = 'ledger_days'").one()
    op.execute("ALTER TABLE ledger_days RENAME TO former_ledger_days")
    op.execute(f"{as_made} WITHOUT ROWID")
    op.execute("INSERT INTO ledger_days SELECT * FROM former_ledger_days ORDER BY election_id, part, day, name")
    op.execute("DROP TABLE former_ledger_days")
