"""Signatures and stock of the version that counted packets alone are kept when the database is brought up to date."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from alembic import command
from sqlalchemy import delete, select, text
from sqlalchemy.exc import DBAPIError

from replacements.mailings import stock
from replacements.mailings.signing import valid_signatures
from replacements.store.database import Database
from replacements.store.migrate import _config, migrate
from replacements.store.tables import Mailing, Signature
from tests.servers.databases import PostgresServer

BEFORE = "0005"
ROWS = (
    "INSERT INTO elections (id, name, held_on, created_at) "
    "VALUES ('e', 'General', '2026-11-03', '2026-09-01 09:00:00')",
    "INSERT INTO mailings (id, election_id, goes_on, state, manifest) "
    "VALUES (1, 'e', '2026-10-14', 'closed', CAST(:manifest AS JSON))",
    "INSERT INTO signatures (mailing_id, account, counted, at) VALUES (1, 'mara', 3, '2026-10-14 19:00:00')",
    "INSERT INTO stock (election_id, style, on_hand) VALUES ('e', '07-A', 40)",
)


@pytest.fixture(params=["sqlite", "postgresql"])
def empty_database(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Database]:
    """Nothing in it, not even tables."""
    if request.param == "sqlite":
        yield Database(str(tmp_path / "old.sqlite3"))
        return
    server = request.getfixturevalue("postgres_server")
    assert isinstance(server, PostgresServer)
    server.run("CREATE DATABASE before_three_counts")
    database = Database(server.url("before_three_counts"))
    yield database
    database.close()
    server.drop(server.url("before_three_counts"))


def test_a_signature_stands_for_its_manifest_and_what_was_on_hand_opens_the_books(empty_database: Database) -> None:
    config = _config()
    with empty_database.engine.connect() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, BEFORE)
        for row in ROWS:
            as_text = row.replace("CAST(:manifest AS JSON)", ":manifest") if empty_database.is_sqlite else row
            connection.execute(text(as_text), {"manifest": '{"sha256": "ab12"}'} if ":manifest" in row else {})
        connection.commit()
    migrate(empty_database)
    with empty_database.read() as session:
        signature = valid_signatures(session, session.get_one(Mailing, 1))[0]
        assert (signature.account, signature.picked, signature.sealed) == ("mara", None, 3)
        assert signature.at.isoformat() == "2026-10-14T19:00:00+00:00"
        assert stock.overview(session, "e") == (stock.StyleStock("07-A", 40),)
        assert session.scalar(select(Signature.sha256)) == "ab12"
    with pytest.raises(DBAPIError, match="never changed"), empty_database.write() as session:
        session.execute(delete(Signature))
