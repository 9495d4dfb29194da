"""The whole database as files, as it was at one moment, while people and jobs go on working; and back.

SQLite: its online backup, one file. PostgreSQL: every table by COPY in one REPEATABLE READ transaction, a file a table.
That needs no program beside the server, and goes from one version of the server to the next, which `pg_dump` does only
where its own version fits. What has no rows (tables, triggers, functions) is made by the migrations.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from alembic import command
from sqlalchemy import Connection, inspect, text
from sqlalchemy.orm import Session

from replacements.store.csv_files import FileTrouble
from replacements.store.database import Database
from replacements.store.migrate import config_on, revision_of
from replacements.store.tables import Base

FILE = "database.sqlite3"
TABLES = "tables"
_VERSION = "alembic_version"
_FORMER = {"voter_keys", "stock"}  # tables of earlier schemas
_NOT_PUT_THERE = {_VERSION, "found_by"}  # what triggers make anew from all else
_NOTHING_OF_WORTH = {_VERSION, "conditions"}  # what a fresh installation writes before anybody loads anything


@contextmanager
def taken(database: Database, folder: Path) -> Iterator[tuple[Session, dict[str, Any]]]:
    """Put the database into `folder`. Gives a session that sees exactly what was put there, and what must be known to
    load it again: `kind`, `schema`, and for PostgreSQL `columns` by table and `sequences`."""
    if database.is_sqlite:
        _copy(database, folder / FILE)
        copy = Database(str(folder / FILE))
        try:
            with copy.read() as session:
                yield session, {"kind": "sqlite", "schema": revision_of(session.connection())}
        finally:
            copy.close()  # the last connection folds the write-ahead log into the file
        return
    (folder / TABLES).mkdir()
    with database.read() as session:
        connection = session.connection()
        columns = {table: _columns(connection, table) for table in _tables(connection) if table not in _NOT_PUT_THERE}
        for table, names in columns.items():
            _copy_out(connection, table, names, folder / TABLES / f"{table}.copy")
        sequences = connection.execute(
            text("SELECT sequencename, last_value FROM pg_sequences WHERE schemaname = current_schema()")
        ).all()
        yield (
            session,
            {
                "kind": "postgresql",
                "schema": revision_of(connection),
                "columns": columns,
                "sequences": {name: last for name, last in sequences if last is not None},
            },
        )


def holds(database: Database) -> list[str]:
    """The tables in which anything lies that a restored backup would take the place of."""
    with database.engine.connect() as connection:
        tables = sorted(set(inspect(connection).get_table_names()) - _NOTHING_OF_WORTH)
        return [
            table
            for table in tables
            if connection.execute(text(f'SELECT EXISTS (SELECT 1 FROM "{table}")')).scalar()  # noqa: S608
        ]


def put_back(database: Database, folder: Path, known: Mapping[str, Any]) -> None:
    """Make the database what `folder` holds; all of it or nothing. What is there now is gone afterwards.

    `known`: what `taken` said. Raises FileTrouble where the schema holds what is not this program's, DatabaseTrouble
    from the migrations.
    """
    if database.is_sqlite:
        _check(folder / FILE)
        with sqlite3.connect(folder / FILE) as source, database.engine.connect() as connection:
            source.backup(_driver(connection))
        database.engine.dispose()
        return
    with database.engine.connect() as connection:
        _clear(connection)
        command.upgrade(config_on(connection), known["schema"])
        for table in _in_order(connection):
            if table in known["columns"]:
                _copy_in(connection, table, known["columns"][table], folder / TABLES / f"{table}.copy")
        for name, last in known["sequences"].items():
            connection.execute(text("SELECT setval(CAST(:name AS regclass), :last)"), {"name": name, "last": last})
        connection.execute(text("UPDATE requests SET person = person"))  # voters came after them
        connection.commit()


def _copy(database: Database, path: Path) -> None:
    with database.engine.connect() as connection, sqlite3.connect(path) as target:
        _driver(connection).backup(target)
    target.close()


def _check(path: Path) -> None:
    """Its bytes are as they were written; but was what was written whole?"""
    try:
        with sqlite3.connect(path) as connection:
            found = connection.execute("PRAGMA integrity_check").fetchone()[0]
    except sqlite3.DatabaseError as error:
        found = str(error)
    if found != "ok":
        raise FileTrouble(f"The database in the backup is damaged: {found}. Nothing was restored.")


def _driver(connection: Connection) -> Any:
    return connection.connection.driver_connection


def _tables(connection: Connection) -> list[str]:
    return sorted(inspect(connection).get_table_names())


def _columns(connection: Connection, table: str) -> list[str]:
    return [str(column["name"]) for column in inspect(connection).get_columns(table)]


def _quoted(names: list[str]) -> str:
    return ", ".join(f'"{name}"' for name in names)


def _copy_out(connection: Connection, table: str, columns: list[str], path: Path) -> None:
    key = inspect(connection).get_pk_constraint(table)["constrained_columns"]
    order = f" ORDER BY {_quoted(list(key))}" if key else ""  # the ledger takes its entries in their order only
    statement = f'COPY (SELECT {_quoted(columns)} FROM "{table}"{order}) TO STDOUT'  # noqa: S608 - our own names
    with path.open("wb") as file, _driver(connection).cursor() as cursor, cursor.copy(statement) as copy:
        for piece in copy:
            file.write(piece)


def _copy_in(connection: Connection, table: str, columns: list[str], path: Path) -> None:
    statement = f'COPY "{table}" ({_quoted(columns)}) FROM STDIN'
    with path.open("rb") as file, _driver(connection).cursor() as cursor, cursor.copy(statement) as copy:
        while piece := file.read(1 << 20):
            copy.write(piece)


def _in_order(connection: Connection) -> list[str]:
    """Tables before those that refer to them."""
    return [table for table, _ in inspect(connection).get_sorted_table_and_fkc_names() if table is not None]


def _clear(connection: Connection) -> None:
    tables = set(_tables(connection))
    strange = tables - set(Base.metadata.tables) - _FORMER - {_VERSION}
    if strange:
        raise FileTrouble(
            f"The database holds tables that are not this program's: {', '.join(sorted(strange))}. Nothing was "
            "restored. Restore into a database of its own: createdb, and set REPLACEMENTS_DATABASE to it."
        )
    if tables:
        connection.execute(text(f"DROP TABLE {_quoted(sorted(tables))} CASCADE"))
    functions = connection.execute(
        text(
            "SELECT p.oid::regprocedure::text FROM pg_proc p "
            "WHERE p.pronamespace = current_schema()::regnamespace AND p.prorettype = 'trigger'::regtype "
            "AND NOT EXISTS (SELECT 1 FROM pg_depend d WHERE d.objid = p.oid AND d.deptype = 'e')"
        )
    ).scalars()
    for name in functions.all():
        connection.execute(text(f"DROP FUNCTION {name} CASCADE"))
