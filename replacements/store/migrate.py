"""Bring a database to the present schema, or say in plain words why that cannot be done.

On PostgreSQL an upgrade may run while an office works. Each migration is a transaction of its own that gives up a lock
it does not get within two seconds, and is tried again: whoever waits for a lock makes all that come later wait too. An
index on a table with rows is made beside the work (`beside_work.create_index`). A migration leaves what the version
before it reads and writes as it was; so the pages of the old version go on until they are started anew. Three of the
earliest do not: 0004, 0008 and 0010 say why, and from a schema before 0010 the old version is stopped first.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, text
from sqlalchemy.exc import OperationalError

from replacements.store.database import Database

MIGRATION_LOCK = 70_131  # any number; the key of PostgreSQL's advisory lock
LOCK_SECONDS = 2  # how long a migration waits for a table, and whoever comes after it with it
MOST_TRIES = 30
BETWEEN_TRIES = 1.0  # seconds, in which those who waited come to their turn
_NO_LOCK = "55P03"  # lock_not_available, PostgreSQL's documentation, appendix A


class DatabaseTrouble(Exception):
    """The database cannot be used; the text says why and what to do."""


def _config() -> Config:
    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    return config


def config_on(connection: Connection, *, stepwise: bool = False) -> Config:
    """For Alembic's commands on this connection. `stepwise`: a transaction for each migration, not one for all."""
    config = _config()
    config.attributes.update(connection=connection, stepwise=stepwise)
    return config


def revision_of(connection: Connection) -> str | None:
    """The schema that the database has; None for an empty one."""
    return MigrationContext.configure(connection).get_current_revision()


@cache
def _script() -> ScriptDirectory:
    return ScriptDirectory.from_config(_config())


def head() -> str:
    """The schema that this program is written for."""
    return _script().get_current_head() or ""


def is_known(revision: str) -> bool:
    """Whether this program knows a schema; it does not know one that a newer version made."""
    return revision in {one.revision for one in _script().walk_revisions()}


def migrate(database: Database) -> None:
    """Apply every migration that is missing. Raises DatabaseTrouble where the database is newer than this program, or
    where others hold its tables all the time."""
    shown = database.engine.url.render_as_string(hide_password=True)
    try:
        with database.engine.connect().execution_options(sqlite_begin="IMMEDIATE") as connection:
            if database.is_sqlite:
                _upgrade(connection, shown, stepwise=False)
                connection.commit()
            else:
                with _alone(connection):
                    _upgrade_beside_work(connection, shown)
    except OperationalError as error:
        raise DatabaseTrouble(
            f"The database {shown} cannot be opened: {str(error.orig).strip()}. Nothing was changed. "
            "Check REPLACEMENTS_DATABASE and that the server runs."
        ) from error


def _upgrade(connection: Connection, shown: str, *, stepwise: bool) -> None:
    present = revision_of(connection)
    if present is not None and not is_known(present):
        raise DatabaseTrouble(
            f"The database {shown} was made by a newer version of this program (schema {present}). "
            "Nothing was changed. Install the newer version, or set REPLACEMENTS_DATABASE to another one."
        )
    if stepwise:
        connection.commit()  # Alembic begins and ends its own
    if present != head():
        command.upgrade(config_on(connection, stepwise=stepwise), "head")


@contextmanager
def _alone(connection: Connection) -> Iterator[None]:
    """Several programs may start at once: one migrates, the others wait and find it done. They ask again and again
    instead of standing in line, since an index that is made beside the work waits for everybody who stands in one."""
    key = {"key": MIGRATION_LOCK}
    while not connection.execute(text("SELECT pg_try_advisory_lock(:key)"), key).scalar():
        connection.rollback()
        time.sleep(0.1)
    connection.commit()
    try:
        yield
    finally:
        connection.rollback()
        connection.execute(text("SELECT pg_advisory_unlock(:key)"), key)
        connection.commit()


def _upgrade_beside_work(connection: Connection, shown: str) -> None:
    connection.execute(text(f"SET lock_timeout = '{LOCK_SECONDS}s'"))
    connection.commit()
    try:
        for tries in range(1, MOST_TRIES + 1):
            try:
                _upgrade(connection, shown, stepwise=True)
                connection.commit()
                return
            except OperationalError as error:
                connection.rollback()
                if getattr(error.orig, "sqlstate", None) != _NO_LOCK:
                    raise
                if tries == MOST_TRIES:
                    raise DatabaseTrouble(
                        f"The database {shown} is held by others all the time, so that its schema cannot be brought "
                        "up to date. What was done stays; start again to go on. See pg_stat_activity for who holds it."
                    ) from error
            time.sleep(BETWEEN_TRIES)
    finally:
        connection.rollback()
        connection.execute(text("RESET lock_timeout"))
        connection.commit()
