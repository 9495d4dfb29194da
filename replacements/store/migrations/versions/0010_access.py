"""Sign-ins that a person can see and end, second factors, and looks that name the voter

What a sign-in now holds cannot be told of an older one: everybody signs in once more, and on the new pages only, since
those of the version before do not know the new table."""

import sqlalchemy as sa
from alembic import op

from replacements.store.beside_work import create_index


revision = "0010"
down_revision = "0007"
branch_labels = None
depends_on = None


def upgrade() -> None:
    create_index("looks_of_an_account", "looks", ["account", "about", "at"])
    # A try that was broken off at an index has made the columns.
    for table, name in (("accounts", "provider_name"), ("looks", "voter_id")):
        if name not in {column["name"] for column in sa.inspect(op.get_bind()).get_columns(table)}:
            op.add_column(table, sa.Column(name, sa.Text(), nullable=True))
    create_index("one_account_of_a_provider_name", "accounts", ["provider_name"], unique=True)
    create_index("looks_at_a_voter", "looks", ["voter_id"])
    op.drop_table("sign_ins")
    op.create_table(
        "sign_ins",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("token", sa.Text(), nullable=False),
        sa.Column("account_id", sa.Integer(), nullable=False),
        sa.Column("started_at", sa.DateTime(), nullable=False),
        sa.Column("seen_at", sa.DateTime(), nullable=False),
        sa.Column("ends_at", sa.DateTime(), nullable=False),
        sa.Column("idle_minutes", sa.Integer(), nullable=False),
        sa.Column("browser", sa.Text(), nullable=False),
        sa.Column("outstanding", sa.Text(), nullable=False),
        sa.Column("second", sa.Text(), nullable=False),
        sa.Column("challenge", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["account_id"], ["accounts.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("token"),
        sqlite_autoincrement=True,  # a number on a page that was left open never comes to mean another sign-in
    )
    op.create_index("sign_ins_of_an_account", "sign_ins", ["account_id"])
    op.create_table(
        "factors",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("account_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("label", sa.Text(), nullable=False),
        sa.Column("data", sa.LargeBinary(), nullable=False),
        sa.Column("credential_id", sa.Text(), nullable=True),
        sa.Column("counter", sa.BigInteger(), nullable=False),
        sa.Column("made_at", sa.DateTime(), nullable=False),
        sa.Column("proved_at", sa.DateTime(), nullable=True),
        sa.Column("used_at", sa.DateTime(), nullable=True),
        sa.ForeignKeyConstraint(["account_id"], ["accounts.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("credential_id"),
        sqlite_autoincrement=True,
    )
    op.create_index("factors_of_an_account", "factors", ["account_id"])
    op.create_table(
        "recovery_codes",
        sa.Column("hash", sa.Text(), nullable=False),
        sa.Column("account_id", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.DateTime(), nullable=False),
        sa.Column("used_at", sa.DateTime(), nullable=True),
        sa.ForeignKeyConstraint(["account_id"], ["accounts.id"]),
        sa.PrimaryKeyConstraint("hash"),
    )
    op.create_index("recovery_codes_of_an_account", "recovery_codes", ["account_id"])
