"""What is never removed is not replaced either: SQLite's REPLACE removes rows without asking the triggers of a removal"""

from alembic import op


revision = "0007"
down_revision = "0009"
branch_labels = None
depends_on = None

# INSERT OR REPLACE and UPDATE OR REPLACE take away whatever row stands in the way of a unique key, and SQLite fires no
# trigger of DELETE for it (unless recursive_triggers is on). So the row in the way is looked for before.
# PostgreSQL has nothing of the kind: what ON CONFLICT updates there goes through the triggers of UPDATE.
LIVE = "state IN ('issued', 'undeliverable', 'returned', 'accepted', 'challenged')"
KEYS: dict[str, tuple[tuple[str, ...], ...]] = {
    "ledger": (("seq",), ("prev_hash",), ("hash",)),
    "looks": (("id",),),
    "signatures": (("id",), ("mailing_id", "account", "sha256")),
    "raw_mail": (("message_id",),),
    "corrections": (("id",),),
    "voter_changes": (("id",),),
    "reply_texts": (("id",), ("name", "language", "version")),
    "reply_text_decisions": (("id",), ("text_id",)),
    "stock_entries": (("id",),),
}


def _there(table: str, key: tuple[str, ...]) -> str:
    return f"EXISTS (SELECT 1 FROM {table} WHERE {' AND '.join(f'{name} = NEW.{name}' for name in key)})"


def _in_the_way(own: str) -> str:
    """A ballot that a unique index would hold against NEW. `own` leaves out the row that is changed itself."""
    same = "election_id = NEW.election_id AND voter_id = NEW.voter_id"
    return (
        f"(NEW.{LIVE} AND EXISTS (SELECT 1 FROM ballots WHERE {same} AND {LIVE}{own})) "
        f"OR (NEW.state = 'accepted' AND EXISTS (SELECT 1 FROM ballots WHERE {same} AND state = 'accepted'{own})) "
        "OR (NEW.replaces IS NOT NULL AND NEW.state <> 'voided' AND EXISTS "
        f"(SELECT 1 FROM ballots WHERE replaces = NEW.replaces AND replaces IS NOT NULL AND state <> 'voided'{own}))"
    )


SQLITE = [
    *(
        f"CREATE TRIGGER {table}_no_replace BEFORE INSERT ON {table} "
        f"WHEN {' OR '.join(_there(table, key) for key in keys)} "
        f"BEGIN SELECT RAISE(ABORT, '{table}: entries are never changed or removed'); END"
        for table, keys in KEYS.items()
    ),
    "CREATE TRIGGER ballots_no_replace BEFORE INSERT ON ballots "
    f"WHEN EXISTS (SELECT 1 FROM ballots WHERE number = NEW.number) OR {_in_the_way('')} "
    "BEGIN SELECT RAISE(ABORT, 'ballots: a number is never used again, and a voter has one live ballot'); END",
    "CREATE TRIGGER ballots_no_replace_by_update BEFORE UPDATE OF state ON ballots "
    f"WHEN NEW.state <> OLD.state AND ({_in_the_way(' AND number <> OLD.number')}) "
    "BEGIN SELECT RAISE(ABORT, 'ballots: a voter has one live ballot'); END",
]


def upgrade() -> None:
    if op.get_bind().dialect.name == "sqlite":
        for statement in SQLITE:
            op.execute(statement)
