"""The return desk's list of scans, and ballots to cure found without reading all"""

import sqlalchemy as sa
from alembic import op

from replacements.store.beside_work import create_index


revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None


def upgrade() -> None:
    create_index("ballots_to_cure", "ballots", ["election_id"], where="state = 'challenged'")
    op.create_table(
        "desk_scans",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("key", sa.Text(), nullable=False),
        sa.Column("account", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("election_id", sa.Text(), nullable=False),
        sa.Column("ballot_number", sa.Text(), nullable=True),
        sa.Column("answer", sa.JSON(), nullable=False),
        sa.Column("list_key", sa.Text(), nullable=True),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("ledger_seq", sa.Integer(), nullable=False),
        sa.Column("undone_seq", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["ballot_number"], ["ballots.number"]),
        sa.ForeignKeyConstraint(["election_id"], ["elections.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("key"),
    )
    op.create_index("scans_of_an_account", "desk_scans", ["account", "id"])
    op.create_index("scans_of_a_list", "desk_scans", ["list_key", "place"])
