"""An office with a full roll that is brought from an early schema to the present one: no index on a table with rows is
made in the plain way, whatever an upgrade is broken off at is finished by the next, and nothing is lost."""

from __future__ import annotations

import re
import time
from collections.abc import Iterator
from typing import Any

import pytest
from alembic import command
from sqlalchemy import Connection, event, inspect, text

from replacements.store.database import Database
from replacements.store.migrate import config_on, head, migrate, revision_of
from tests.servers.databases import PostgresServer

EARLY = "0003"  # the last schema before voters had numbers
VOTERS = 3_000
_INDEX = re.compile(r"CREATE (?:UNIQUE )?INDEX (CONCURRENTLY )?(\S+) ON (\w+)")
# What an office of that schema has on record; every column that must be filled and is not named holds nothing.
_ROWS = (
    ("elections", 1, {"id": "'2026-11-03-general'", "held_on": "DATE '2026-11-03'"}),
    ("accounts", 20, {"id": "n", "name": "'clerk' || n"}),
    ("voters", VOTERS, {"voter_id": "'V' || lpad(CAST(n AS text), 5, '0')"}),
    ("voter_keys", VOTERS, {"key": "'k' || n", "voter_id": "'V' || lpad(CAST(n AS text), 5, '0')"}),
    (
        "ballots",
        VOTERS,
        {
            "number": "CAST(70000000 + n AS text)",
            "election_id": "'2026-11-03-general'",
            "voter_id": "'V' || lpad(CAST(n AS text), 5, '0')",
            "state": "CASE WHEN n % 10 = 0 THEN 'challenged' ELSE 'issued' END",
        },
    ),
    ("looks", VOTERS, {"id": "n", "account": "'clerk' || n % 20", "about": "CAST(n AS text)"}),
)
_NOTHING = {"TEXT": "''", "VARCHAR": "''", "INTEGER": "0", "BOOLEAN": "false", "TIMESTAMP": "now()", "JSON": "'[]'"}


def _fill(connection: Connection) -> None:
    for table, many, given in _ROWS:
        empty = {
            str(column["name"]): _NOTHING[str(column["type"])]
            for column in inspect(connection).get_columns(table)
            if not column["nullable"] and column["name"] not in given
        }
        values = empty | given
        connection.execute(
            text(
                f"INSERT INTO {table} ({', '.join(values)}) SELECT {', '.join(values.values())}"
                " FROM generate_series(1, CAST(:many AS int)) n"
            ),
            {"many": many},
        )


@pytest.fixture
def early_office(postgres_server: PostgresServer) -> Iterator[Database]:
    name = f"early_{time.monotonic_ns()}"
    postgres_server.run(f"CREATE DATABASE {name}")
    database = Database(postgres_server.url(name))
    with database.engine.connect() as connection:
        command.upgrade(config_on(connection), EARLY)
        _fill(connection)
        connection.commit()
    yield database
    database.close()
    postgres_server.drop(postgres_server.url(name))


def _schema(database: Database) -> dict[str, list[tuple[Any, ...]]]:
    """Everything that the database was told to hold, as it says it itself."""
    asked = {
        "columns": "SELECT table_name, column_name, data_type, is_nullable, column_default"
        " FROM information_schema.columns WHERE table_schema = 'public'",
        "indexes": "SELECT tablename, indexname, indexdef, indisvalid AND indisready FROM pg_indexes"
        " JOIN pg_index ON indexrelid = to_regclass(indexname) WHERE schemaname = 'public'",
        "constraints": "SELECT conrelid::regclass::text, conname, pg_get_constraintdef(oid) FROM pg_constraint"
        " WHERE connamespace = 'public'::regnamespace",
        "triggers": "SELECT pg_get_triggerdef(oid) FROM pg_trigger WHERE NOT tgisinternal",
    }
    with database.engine.connect() as connection:
        return {name: sorted(map(tuple, connection.execute(text(query)))) for name, query in asked.items()}


def _nothing_is_lost(database: Database) -> None:
    with database.engine.connect() as connection:
        for table, many, _ in _ROWS:
            if table != "voter_keys":
                assert connection.execute(text(f"SELECT count(*) FROM {table}")).scalar_one() == many, table
        numbered = connection.execute(text("SELECT number FROM voters ORDER BY voter_id")).scalars().all()
    assert numbered == list(range(1, VOTERS + 1))


def test_no_index_on_the_roll_the_ballots_or_the_looks_keeps_those_who_write_waiting(early_office: Database) -> None:
    plain, beside = set[str](), set[str]()

    def note(_c: Any, _cursor: Any, statement: str, *_: Any) -> None:
        if made := _INDEX.match(statement):
            (beside if made[1] else plain).add(made[3])

    event.listen(early_office.engine, "before_cursor_execute", note)
    migrate(early_office)
    filled = {table for table, _, _ in _ROWS}
    assert not plain & filled
    assert {"voters", "ballots", "looks", "accounts"} <= beside
    _nothing_is_lost(early_office)


def test_an_upgrade_that_is_broken_off_at_each_index_comes_to_the_schema_of_a_new_office(
    early_office: Database, postgres_database: Database
) -> None:
    """Each time the upgrade comes to an index that it makes beside the work, it ends there, once; what it leaves is an
    index of that name that is not the right one."""
    broken_at: list[str] = []

    def break_off(_c: Any, _cursor: Any, statement: str, *_: Any) -> None:
        made = _INDEX.match(statement)
        if made and made[1] and made[2] not in broken_at:
            broken_at.append(made[2])
            with early_office.engine.connect() as other:
                column = inspect(other).get_columns(made[3])[0]["name"]
                other.execute(text(f"CREATE INDEX {made[2]} ON {made[3]} ({column})"))
                other.commit()
            raise ConnectionAbortedError

    event.listen(early_office.engine, "before_cursor_execute", break_off)
    for _ in range(50):
        with early_office.engine.connect() as connection:
            if revision_of(connection) == head():
                break
        before = len(broken_at)
        try:
            migrate(early_office)
        except ConnectionAbortedError:
            assert len(broken_at) == before + 1
    assert {"one_number_a_voter", "ballots_to_cure", "looks_of_an_account", "looks_at_a_voter"} <= set(broken_at)
    assert "one_account_of_a_provider_name" in broken_at
    assert _schema(early_office) == _schema(postgres_database)
    _nothing_is_lost(early_office)
