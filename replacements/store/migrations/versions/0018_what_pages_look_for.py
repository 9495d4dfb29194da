"""Indexes by which pages find what goes on with a request, and what was closed by rule: SQLite read all requests for it"""

from replacements.store.beside_work import create_index


revision = "0018"
down_revision = "0015"
branch_labels = None
depends_on = None


def upgrade() -> None:
    create_index("requests_that_go_on", "requests", ["continues"], where="continues IS NOT NULL")
    create_index("requests_that_lapsed", "requests", ["election_id", "decided_at"], where="decision = 'lapsed'")
