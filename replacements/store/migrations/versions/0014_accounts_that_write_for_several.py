"""Indexes by which a week finds mail accounts that write for several voters: without them it read every request so far"""

import sqlalchemy as sa

from replacements.store.beside_work import create_index


revision = "0014"
down_revision = "0011"
branch_labels = None
depends_on = None


def upgrade() -> None:
    create_index("messages_of_an_account", "messages", [sa.text("lower(sender)")])
    create_index("requests_of_a_sender", "requests", ["message_id", "election_id", "received_at", "voter_id"])
