"""The account that a request came from, and what a packet holds and answers, where they are counted

A week looked up the sender and the decision of each of its thousands of requests and the request of each packet, the
front page each packet's ballot.
"""

import sqlalchemy as sa
from alembic import op

from replacements.store import carried_over, senders
from replacements.store.beside_work import create_index, lot_by_lot


revision = "0022"
down_revision = "0021"
branch_labels = None
depends_on = None


_COUNTS = (
    "issued", "out", "undeliverable", "returned", "accepted", "challenged", "suspended", "voided", "rejected",
    "brought_back", "reissued", "spoiled", "taken_back", "voids", "suspensions",
)  # fmt: skip


def upgrade() -> None:
    connection = op.get_bind()
    _add_up_names()
    for table, name, kind in (
        ("requests", "mail_account", sa.BigInteger()),
        ("packets", "style", sa.Text()),
        ("packets", "received_at", sa.DateTime()),
    ):
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
        for _ in carried_over.fill(live, "packets"):
            pass


def _add_up_names() -> None:
    """Of precincts and reasons nobody asks which were loaded, replacements or overseas: one sum a day, where there were
    several. An earlier version that still runs may add such again; they are added up as they are read. Whoever adds to
    the sums holds their mark meanwhile, and so does this."""
    if op.get_bind().dialect.name == "postgresql":
        op.execute("SELECT seq FROM ledger_days_up_to FOR UPDATE")
    columns = f"election_id, part, day, name, loaded, replacement, overseas, {', '.join(_COUNTS)}"
    summed = ", ".join(f"sum({name})" for name in _COUNTS)
    op.execute(
        f"INSERT INTO ledger_days ({columns}) SELECT election_id, part || '+', day, name, false, false, false, {summed}"
        " FROM ledger_days WHERE part IN ('precinct', 'reason') GROUP BY election_id, part, day, name"
    )
    op.execute("DELETE FROM ledger_days WHERE part IN ('precinct', 'reason')")
    op.execute("UPDATE ledger_days SET part = replace(part, '+', '') WHERE part LIKE '%+'")
