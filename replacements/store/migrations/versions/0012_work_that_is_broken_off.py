"""When the reading of a message began, so that one which never ends is found; the requests of an election, indexed"""

import sqlalchemy as sa
from alembic import op

from replacements.store.beside_work import create_index


revision = "0012"
down_revision = "0010"
branch_labels = None
depends_on = None


def upgrade() -> None:
    connection = op.get_bind()
    # A try that was broken off at the index has made the column.
    if "reading_since" not in {column["name"] for column in sa.inspect(connection).get_columns("messages")}:
        op.add_column("messages", sa.Column("reading_since", sa.DateTime(), nullable=True))
    create_index("requests_of_an_election", "requests", ["election_id", "state"])
