"""An index by which the page of reissued ballots finds each one's request: without it SQLite read all requests for each"""

from replacements.store.beside_work import create_index


revision = "0015"
down_revision = "0014"
branch_labels = None
depends_on = None


def upgrade() -> None:
    create_index("requests_that_issued", "requests", ["issued_ballot"], where="issued_ballot IS NOT NULL")
