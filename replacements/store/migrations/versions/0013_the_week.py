"""The ledger by days, requests of earlier elections, files that go with a mail, and indexes by which a week is found"""

import sqlalchemy as sa
from alembic import op

from replacements.store.beside_work import create_index


revision = "0013"
down_revision = "0012"
branch_labels = None
depends_on = None


def upgrade() -> None:
    # First, since each ends the transaction: a try that is broken off begins here anew.
    create_index("requests_of_a_week", "requests", ["election_id", "received_at", "decided_at"])
    create_index("requests_decided_in_a_week", "requests", ["election_id", "decided_at", "state"])
    create_index("messages_of_a_week", "messages", ["arrived_at"])
    create_index("packets_of_a_request", "packets", ["request_id"])
    asks = (
        "continues IS NULL AND (issued_ballot IS NOT NULL"
        " OR CAST(kinds AS TEXT) LIKE '%\"spoiled_ballot\"%' OR CAST(kinds AS TEXT) LIKE '%\"not_received\"%')"
    )
    create_index("requests_for_a_ballot", "requests", ["election_id", "received_at"], where=asks)
    create_index("ledger_by_event", "ledger", ["election_id", "event", "at"], where="event <> 'imported'")
    create_index("ballots_by_style_and_state", "ballots", ["election_id", "style", "state"])
    create_index("replacements_of_a_voter", "ballots", ["election_id", "voter_id"], where="replaces IS NOT NULL")
    counts = (
        "issued", "out", "undeliverable", "returned", "accepted", "challenged", "suspended", "voided", "rejected",
        "brought_back", "reissued", "spoiled", "taken_back", "voids", "suspensions",
    )
    op.create_table(
        "ledger_days",
        sa.Column("election_id", sa.Text(), nullable=False),
        sa.Column("part", sa.Text(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("loaded", sa.Boolean(), nullable=False),
        sa.Column("replacement", sa.Boolean(), nullable=False),
        sa.Column("overseas", sa.Boolean(), nullable=False),
        *(sa.Column(name, sa.Integer(), nullable=False) for name in counts),
        sa.ForeignKeyConstraint(["election_id"], ["elections.id"]),
        sa.PrimaryKeyConstraint("election_id", "part", "day", "name", "loaded", "replacement", "overseas"),
    )
    op.create_table(
        "ledger_days_up_to",
        sa.Column("election_id", sa.Text(), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("zone", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["election_id"], ["elections.id"]),
        sa.PrimaryKeyConstraint("election_id"),
    )
    op.create_table(
        "past_requests",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("election", sa.Text(), nullable=False),
        sa.Column("held_on", sa.Date(), nullable=False),
        sa.Column("reference", sa.Text(), nullable=False),
        sa.Column("received_on", sa.Date(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("cause", sa.Text(), nullable=False),
        sa.Column("outcome", sa.Text(), nullable=False),
        sa.Column("mailed_on", sa.Date(), nullable=True),
        sa.Column("style", sa.Text(), nullable=False),
        sa.Column("precinct", sa.Text(), nullable=False),
        sa.Column("language", sa.Text(), nullable=False),
        sa.Column("loaded_at", sa.DateTime(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("election", "reference", name="one_past_request_a_reference"),
    )
    op.create_index("past_requests_by_day", "past_requests", ["held_on", "received_on"])
    op.create_table(
        "reply_attachments",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("reply_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("content_type", sa.Text(), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["reply_id"], ["replies.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_reply_attachments_reply_id"), "reply_attachments", ["reply_id"])
