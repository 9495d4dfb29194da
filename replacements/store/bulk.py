"""What each kind of database has its own way for: many rows at once, and a row that may be there already."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from typing import Any

from sqlalchemy import Executable, text
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.orm import Session

from replacements.store.tables.base import Base

SQLITE_PAGES_KIB = 32_768  # page cache while much is written; the usual 2 MB would read back what was just written
_USUAL_KIB = 2_000


def is_sqlite(session: Session) -> bool:
    return session.get_bind().dialect.name == "sqlite"


def insert_unless_there(session: Session, table: type[Base], values: Mapping[str, Any]) -> int | None:
    """Insert a row and return its `id`; None where the database's own rules say that it is there already.

    Where somebody else inserts the same row in this moment, it waits for what becomes of that, so that a look
    afterwards finds it. The transaction goes on in either case; no savepoint is needed.
    """
    session.flush()
    statement = _insert_unless_there(table.__tablename__, for_sqlite=is_sqlite(session))
    return session.connection().execute(statement, values).scalar_one_or_none()


@cache
def _insert_unless_there(name: str, *, for_sqlite: bool) -> Executable:
    table = Base.metadata.tables[name]
    insert = sqlite.insert(table) if for_sqlite else postgresql.insert(table)
    return insert.on_conflict_do_nothing().returning(table.c.id)


def insert_rows(session: Session, table: str, columns: Sequence[str], rows: Sequence[tuple[Any, ...]]) -> None:
    """Insert tuples in the order of `columns`: one prepared statement on SQLite, COPY on PostgreSQL.

    Values go to the driver as they are. Raises IntegrityError (SQLite) or the driver's error as any insert does.
    """
    if not rows:
        return
    connection = session.connection()
    names = ", ".join(f'"{column}"' for column in columns)
    if is_sqlite(session):
        marks = ", ".join("?" * len(columns))
        connection.exec_driver_sql(f"INSERT INTO {table} ({names}) VALUES ({marks})", list(rows))  # noqa: S608
        return
    driver: Any = connection.connection.driver_connection
    with driver.cursor() as cursor, cursor.copy(f"COPY {table} ({names}) FROM STDIN") as copy:
        for row in rows:
            copy.write_row(row)


def run_many(session: Session, statement: str, rows: Iterable[dict[str, Any]]) -> None:
    """One statement with named values (`:name`) for each row."""
    values = list(rows)
    if values:
        session.connection().execute(text(statement), values)


def more_cache(session: Session, *, more: bool) -> None:
    """Give this connection a large page cache for the time of a bulk load (SQLite; PostgreSQL has its own)."""
    if is_sqlite(session):
        session.connection().exec_driver_sql(f"PRAGMA cache_size = -{SQLITE_PAGES_KIB if more else _USUAL_KIB}")
