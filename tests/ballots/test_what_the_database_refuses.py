"""What the database itself refuses, whoever asks and by whatever statement: a changed, removed or replaced entry, a
second live ballot, a ballot that vanishes or belongs to another voter."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from sqlalchemy import inspect, text
from sqlalchemy.exc import DatabaseError

from replacements.ballots.ledger import Event, append_many, verify
from replacements.store.database import Database
from tests.ballots.conftest import ELECTION

AT = datetime(2031, 10, 7, 15, 0, tzinfo=UTC)
BALLOT = "ballots (number, election_id, voter_id, style, state)"
ENTRY = "ledger (seq, at, event, election_id, by, details, prev_hash, hash)"


# SQLite has no TRUNCATE, PostgreSQL no REPLACE.
ON_SQLITE = pytest.mark.parametrize("database", ["sqlite"], indirect=True)
ON_POSTGRESQL = pytest.mark.parametrize("database", ["postgresql"], indirect=True)


@pytest.fixture
def kept(office: Database) -> Database:
    """The office's three ballots, a void one of the first voter, and a ledger of five entries."""
    with office.write() as session:
        append_many(session, [Event("looked", ELECTION, "kim", AT) for _ in range(5)])
    with office.engine.begin() as connection:
        connection.execute(text(f"INSERT INTO {BALLOT} VALUES ('2001', '{ELECTION}', 'V1', 'A', 'voided')"))
    return office


def on_record(database: Database) -> tuple[list[object], list[object]]:
    with database.engine.connect() as connection:
        ballots = connection.execute(text("SELECT number, voter_id, state, replaces FROM ballots ORDER BY number"))
        entries = connection.execute(text("SELECT seq, prev_hash, hash FROM ledger ORDER BY seq"))
        return [tuple(row) for row in ballots], [tuple(row) for row in entries]


def refused(database: Database, *statements: str) -> None:
    before = on_record(database)
    for statement in statements:
        with pytest.raises(DatabaseError), database.engine.begin() as connection:
            connection.execute(text(statement))
        assert on_record(database) == before, statement
    with database.read() as session:
        assert verify(session).broken is None


def test_an_entry_is_not_changed_or_removed(kept: Database) -> None:
    refused(
        kept,
        "UPDATE ledger SET by = 'sam' WHERE seq = 2",
        "UPDATE ledger SET seq = 9 WHERE seq = 5",
        "UPDATE ledger SET by = by",
        "DELETE FROM ledger WHERE seq = 5",
        "DELETE FROM ledger",
    )


def test_an_entry_is_not_put_in_between_or_beside(kept: Database) -> None:
    _, entries = on_record(kept)
    last = entries[-1][2]  # type: ignore[index]
    refused(
        kept,
        f"INSERT INTO {ENTRY} VALUES (3, 'at', 'e', 'e', 'sam', '{{}}', '{last}', 'x')",
        f"INSERT INTO {ENTRY} VALUES (7, 'at', 'e', 'e', 'sam', '{{}}', '{last}', 'x')",
        f"INSERT INTO {ENTRY} VALUES (6, 'at', 'e', 'e', 'sam', '{{}}', '{'0' * 64}', 'x')",
    )


def test_a_ballot_is_not_removed_or_given_to_another_voter(kept: Database) -> None:
    refused(
        kept,
        "DELETE FROM ballots WHERE number = '2001'",
        "UPDATE ballots SET voter_id = 'V9' WHERE number = '1001'",
        "UPDATE ballots SET number = '9' WHERE number = '1001'",
        f"INSERT INTO {BALLOT} VALUES ('1001', '{ELECTION}', 'V9', 'A', 'voided')",
        f"INSERT INTO {BALLOT} VALUES ('3001', '{ELECTION}', 'V1', 'A', 'issued')",
        "UPDATE ballots SET state = 'issued' WHERE number = '2001'",
    )


@ON_SQLITE
def test_no_row_is_pushed_out_by_another_that_takes_its_place(kept: Database) -> None:
    """SQLite removes what stands in the way of a REPLACE without asking the triggers of a removal."""
    _, entries = on_record(kept)
    last, third = entries[-1][2], entries[2][2]  # type: ignore[index]
    refused(
        kept,
        f"REPLACE INTO {BALLOT} VALUES ('1001', '{ELECTION}', 'V9', 'A', 'issued')",
        f"REPLACE INTO {BALLOT} VALUES ('3001', '{ELECTION}', 'V1', 'A', 'issued')",
        f"INSERT OR REPLACE INTO {BALLOT} VALUES ('2001', '{ELECTION}', 'V2', 'A', 'voided')",
        "UPDATE OR REPLACE ballots SET state = 'issued' WHERE number = '2001'",
        f"REPLACE INTO {ENTRY} VALUES (6, 'at', 'e', 'e', 'sam', '{{}}', '{last}', '{third}')",
        f"REPLACE INTO {ENTRY} VALUES (5, 'at', 'e', 'e', 'sam', '{{}}', '{last}', 'x')",
        "UPDATE OR REPLACE ledger SET seq = 4 WHERE seq = 5",
    )


@ON_POSTGRESQL
def test_no_row_is_changed_by_another_that_takes_its_place(kept: Database) -> None:
    update = "DO UPDATE SET voter_id = EXCLUDED.voter_id"
    _, entries = on_record(kept)
    last = entries[-1][2]  # type: ignore[index]
    refused(
        kept,
        f"INSERT INTO {BALLOT} VALUES ('1001', '{ELECTION}', 'V9', 'A', 'issued') ON CONFLICT (number) {update}",
        f"INSERT INTO {ENTRY} VALUES (5, 'at', 'e', 'e', 'sam', '{{}}', '{last}', 'x') "
        "ON CONFLICT (seq) DO UPDATE SET by = 'sam'",
    )


@ON_POSTGRESQL
@pytest.mark.parametrize("table", ["ledger", "ballots", "signatures", "looks", "corrections"])
def test_a_table_of_records_is_not_emptied(kept: Database, table: str) -> None:
    refused(kept, f"TRUNCATE {table} CASCADE")


@ON_SQLITE
def test_what_is_written_once_cannot_be_replaced_in_any_such_table(kept: Database) -> None:
    """Every table whose rows may not be removed refuses a REPLACE as well."""
    with kept.engine.connect() as connection:
        names = connection.execute(text("SELECT name FROM sqlite_master WHERE type = 'trigger'")).scalars().all()
    tables = inspect(kept.engine).get_table_names()
    guarded = {table for table in tables if f"{table}_no_delete" in names or f"{table}_no_update" in names}
    assert guarded >= {"ledger", "ballots", "signatures", "looks", "corrections", "raw_mail"}
    assert {table for table in guarded if f"{table}_no_replace" not in names} == set()
