"""Replies that came back undelivered"""

import sqlalchemy as sa
from alembic import op


revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("replies", schema=None) as batch_op:
        batch_op.add_column(sa.Column("returned_at", sa.DateTime(), nullable=True))
        batch_op.add_column(sa.Column("returned_because", sa.Text(), nullable=True))
        batch_op.add_column(sa.Column("returned_told", sa.Text(), nullable=True))
