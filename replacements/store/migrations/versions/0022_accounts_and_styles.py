"""The account that a request came from, and the style of the ballot in a packet, where they are counted

A week looked up the sender and the decision of each of its thousands of requests, the front page each packet's ballot.
"""

import sqlalchemy as sa
from alembic import op

from replacements.store import senders, styles
from replacements.store.beside_work import create_index, lot_by_lot


revision = "0022"
down_revision = "0021"
branch_labels = None
depends_on = None


def upgrade() -> None:
    connection = op.get_bind()
    for table, name, kind in (("requests", "mail_account", sa.BigInteger()), ("packets", "style", sa.Text())):
        there = {column["name"] for column in sa.inspect(connection).get_columns(table)}
        if name not in there:  # a try that was broken off later has made it
            op.add_column(table, sa.Column(name, kind, nullable=True))
    create_index("requests_of_a_mail_account", "requests", ["election_id", "mail_account"])
    create_index(
        "requests_as_decided",
        "requests",
        ["election_id", "decided_at", "state", "proposal", "decision", "received_at", "two_people"],
    )
    op.execute("DROP INDEX IF EXISTS requests_decided_in_a_week")
    with lot_by_lot("requests") as live:
        for _ in senders.fill(live):
            pass
        for _ in styles.fill(live):
            pass
