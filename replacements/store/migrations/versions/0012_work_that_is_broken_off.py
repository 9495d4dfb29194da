"""When the reading of a message began, so that one which never ends is found; the requests of an election, indexed"""

import sqlalchemy as sa
from alembic import op


revision = "0012"
down_revision = "0010"
branch_labels = None
depends_on = None


def upgrade() -> None:
    connection = op.get_bind()
    # A try that was broken off at the index has made the column.
    if "reading_since" not in {column["name"] for column in sa.inspect(connection).get_columns("messages")}:
        op.add_column("messages", sa.Column("reading_since", sa.DateTime(), nullable=True))
    live = connection.dialect.name == "postgresql" and connection.execute(
        sa.text("SELECT EXISTS (SELECT 1 FROM requests)")
    ).scalar()
    if not live:
        op.create_index("requests_of_an_election", "requests", ["election_id", "state"])
        return
    with op.get_context().autocommit_block():
        # It waits for the work that is going on without making anybody wait; what a try left half-made is no index.
        waits = connection.exec_driver_sql("SHOW lock_timeout").scalar_one()
        op.execute("SET lock_timeout = 0")
        op.execute("DROP INDEX CONCURRENTLY IF EXISTS requests_of_an_election")
        op.create_index(
            "requests_of_an_election", "requests", ["election_id", "state"], postgresql_concurrently=True
        )
        op.execute(f"SET lock_timeout = '{waits}'")
