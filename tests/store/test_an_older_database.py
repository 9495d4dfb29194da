"""A database that an earlier version made is brought to the present schema with all that it holds."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import select, text

from replacements.store.database import Database
from replacements.store.migrate import _config, migrate
from replacements.store.tables import Base, Reply

ROW = (
    'INSERT INTO replies (message_id, template, language, "to", subject, text, html, in_reply_to, "references", state,'
    " attempts, queued_at, next_try_at) VALUES ('<1@county.example>', 'answer', 'en', 'ada@home.example', 'Ink', 'B.',"
    " '', '', '', 'sent', 1, '2026-10-05 09:00:00', '2026-10-05 09:00:00')"
)


def _first_version(database: Database) -> None:
    config = _config()
    with database.engine.connect() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, "0001")
        connection.execute(text(ROW))
        connection.commit()


def test_replies_of_the_first_version_are_kept(tmp_path: Path) -> None:
    database = Database(str(tmp_path / "old.sqlite3"))
    _first_version(database)
    migrate(database)
    with database.read() as session:
        reply = session.scalars(select(Reply)).one()
    assert (reply.subject, reply.state, reply.returned_at) == ("Ink", "sent", None)
    database.close()


def test_the_migrations_make_the_tables_that_the_program_knows(database: Database) -> None:
    with database.engine.connect() as connection:

        def of_this_kind(thing: Any, *_: Any) -> bool:  # some indexes are made on one kind of database only
            return thing.info.get("only", connection.dialect.name) == connection.dialect.name

        context = MigrationContext.configure(connection, opts={"include_object": of_this_kind})
        found = compare_metadata(context, Base.metadata)
    assert [one for one in found if "add" in str(one[0])] == []
