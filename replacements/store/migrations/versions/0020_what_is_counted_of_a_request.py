"""What is counted of a request, in columns of its own: a week opened some thousand JSON objects to count a few words"""

import sqlalchemy as sa
from alembic import op

from replacements.store.beside_work import create_index, lot_by_lot
from replacements.store.counted import fill


revision = "0020"
down_revision = "0019"
branch_labels = None
depends_on = None


def upgrade() -> None:
    connection = op.get_bind()
    there = {column["name"] for column in sa.inspect(connection).get_columns("requests")}
    for name, kind in (
        ("language", sa.Text()),
        ("who_claimed", sa.Text()),
        ("who_p", sa.Float()),
        ("kind_claimed", sa.Text()),
        ("kind_p", sa.Float()),
    ):
        if name not in there:  # a try that was broken off while it filled them has made them
            op.add_column("requests", sa.Column(name, kind, nullable=True))
    with lot_by_lot("requests") as live:
        for _ in fill(live):
            pass
    if connection.dialect.name != "sqlite":
        return
    # What a week takes up of its requests, without going to the rows and all that pages show of them. (PostgreSQL keeps
    # what is long apart from the rows by itself.)
    create_index(
        "requests_counted",
        "requests",
        [
            "election_id", "received_at", "decided_at", "message_id", "place", "voter_id", "language", "kinds", "standing",
            "proposal", "decision", "state", "decided_by", "who_claimed", "who_p", "kind_claimed", "kind_p",
        ],
    )  # fmt: skip
