"""Whose a request is, until when it is on hold, and each step of that; the words of letters, to be searched"""

import sqlalchemy as sa
from alembic import op


revision = "0011"
down_revision = "0013"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("requests", sa.Column("assigned_to", sa.Text(), nullable=True))
    op.add_column("requests", sa.Column("held_until", sa.DateTime(), nullable=True))
    op.add_column("requests", sa.Column("held_because", sa.Text(), nullable=True))
    op.create_table(
        "request_steps",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("request_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("account", sa.Text(), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("to_account", sa.Text(), nullable=False),
        sa.Column("until", sa.DateTime(), nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["request_id"], ["requests.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_request_steps_request_id"), "request_steps", ["request_id"])
    op.create_table(
        "letter_words",
        sa.Column("message_id", sa.Integer(), nullable=False),
        sa.Column("words", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["message_id"], ["messages.id"]),
        sa.PrimaryKeyConstraint("message_id"),
    )
