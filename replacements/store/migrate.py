"""Bring a database to the present schema, or say in plain words why that cannot be done."""

from __future__ import annotations

from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import text
from sqlalchemy.exc import OperationalError

from replacements.store.database import Database

MIGRATION_LOCK = 70_131  # any number; the key of PostgreSQL's advisory lock


class DatabaseTrouble(Exception):
    """The database cannot be used; the text says why and what to do."""


def _config() -> Config:
    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    return config


def migrate(database: Database) -> None:
    """Apply every migration that is missing. Raises DatabaseTrouble where the database is newer than this program."""
    config = _config()
    script = ScriptDirectory.from_config(config)
    shown = database.engine.url.render_as_string(hide_password=True)
    try:
        with database.engine.connect().execution_options(sqlite_begin="IMMEDIATE") as connection:
            if (
                not database.is_sqlite
            ):  # several programs may start at once: one migrates, the others wait and find it done
                connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": MIGRATION_LOCK})
            present = MigrationContext.configure(connection).get_current_revision()
            known = {revision.revision for revision in script.walk_revisions()}
            if present is not None and present not in known:
                raise DatabaseTrouble(
                    f"The database {shown} was made by a newer version of this program (schema {present}). "
                    "Nothing was changed. Install the newer version, or set REPLACEMENTS_DATABASE to another one."
                )
            if present != script.get_current_head():
                config.attributes["connection"] = connection
                command.upgrade(config, "head")
            connection.commit()
    except OperationalError as error:
        raise DatabaseTrouble(
            f"The database {shown} cannot be opened: {str(error.orig).strip()}. Nothing was changed. "
            "Check REPLACEMENTS_DATABASE and that the server runs."
        ) from error
