"""Indexes by which pages find what goes on with a request, and what was closed by rule: SQLite read all requests for it"""

import sqlalchemy as sa
from alembic import op


revision = "0018"
down_revision = "0015"
branch_labels = None
depends_on = None
GOES_ON = sa.text("continues IS NOT NULL")
LAPSED = sa.text("decision = 'lapsed'")


def upgrade() -> None:
    op.create_index("requests_that_go_on", "requests", ["continues"], sqlite_where=GOES_ON, postgresql_where=GOES_ON)
    op.create_index(
        "requests_that_lapsed",
        "requests",
        ["election_id", "decided_at"],
        sqlite_where=LAPSED,
        postgresql_where=LAPSED,
    )
