"""An index by which the page of reissued ballots finds each one's request: without it SQLite read all requests for each"""

import sqlalchemy as sa
from alembic import op


revision = "0015"
down_revision = "0014"
branch_labels = None
depends_on = None
ISSUED = sa.text("issued_ballot IS NOT NULL")


def upgrade() -> None:
    op.create_index(
        "requests_that_issued", "requests", ["issued_ballot"], sqlite_where=ISSUED, postgresql_where=ISSUED
    )
