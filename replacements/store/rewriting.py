"""Files of a database written anew, so that what was removed or changed in its tables is gone from the disk too."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from dataclasses import dataclass

from sqlalchemy import text
from sqlalchemy.exc import OperationalError

from replacements.store.database import SQLITE_WAIT_SECONDS, Database

LOCK_SECONDS = 5


@dataclass(frozen=True, slots=True)
class Rewritten:
    """Whether the files were written anew, and how that went in words."""

    done: bool
    text: str


def rewrite(database: Database, tables: Iterable[str]) -> Rewritten:
    """Write the files of these tables anew (SQLite: the whole file).

    Others wait meanwhile. Where somebody else holds a table for too long, it is said, and can be done again later.
    Beyond its reach: PostgreSQL's write-ahead log, which is written over within hours or days of work; the free blocks
    of a disk; backups taken before. Those need a disk that is encrypted, and an end to old backups.
    """
    try:
        return _sqlite(database) if database.is_sqlite else _postgresql(database, tables)
    except (OperationalError, sqlite3.OperationalError):
        return Rewritten(False, "The files could not be written anew: somebody holds the tables. Run it again.")


def _sqlite(database: Database) -> Rewritten:
    path = database.engine.url.database or ""
    connection = sqlite3.connect(path, timeout=SQLITE_WAIT_SECONDS, isolation_level=None)  # VACUUM is no transaction
    try:
        connection.execute("VACUUM")
        busy = connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]
    finally:
        connection.close()
    if busy:
        return Rewritten(False, "The file was written anew, but its write-ahead log is in use. Run it again.")
    return Rewritten(True, "The file was written anew.")


def _postgresql(database: Database, tables: Iterable[str]) -> Rewritten:
    with database.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.execute(text(f"SET lock_timeout = '{LOCK_SECONDS}s'"))
        try:
            for table in sorted(tables):
                connection.execute(text(f'VACUUM (FULL, ANALYZE) "{table}"'))
        finally:
            connection.execute(text("RESET lock_timeout"))
    return Rewritten(True, "The tables' files were written anew.")
