"""Files of a database written anew, so that what was removed or changed in its tables is gone from the disk too."""

from __future__ import annotations

from collections.abc import Iterable

from sqlalchemy import text
from sqlalchemy.exc import OperationalError

from replacements.store.database import Database

LOCK_SECONDS = 5


def rewrite(database: Database, tables: Iterable[str]) -> str:
    """Write the files of these tables anew (SQLite: the whole file). Returns in words what came of it.

    Others wait meanwhile. Where somebody else holds a table for too long, it is said, and can be done again later.
    Beyond its reach: PostgreSQL's write-ahead log, which is written over within hours or days of work; the free blocks
    of a disk; backups taken before. Those need a disk that is encrypted, and an end to old backups.
    """
    with database.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        try:
            if database.is_sqlite:
                connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
                connection.exec_driver_sql("VACUUM")
                busy = connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)").one()[0]
                if busy:
                    return "The file was written anew; its write-ahead log is in use and goes when that ends."
                return "The file was written anew."
            connection.execute(text(f"SET lock_timeout = '{LOCK_SECONDS}s'"))
            try:
                for table in sorted(tables):
                    connection.execute(text(f'VACUUM (FULL, ANALYZE) "{table}"'))
            finally:
                connection.execute(text("RESET lock_timeout"))
            return "The tables' files were written anew."
        except OperationalError:
            return "The files could not be written anew: somebody holds the tables. Run it again later."
