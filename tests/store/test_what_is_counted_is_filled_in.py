"""Requests of a version that kept what is counted among all else: after the upgrade it stands in columns of its own."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from alembic import command
from sqlalchemy import select, text

from replacements.store.counted import fill_what_is_missing
from replacements.store.database import Database
from replacements.store.migrate import config_on, migrate
from replacements.store.tables import Request
from tests.servers.databases import PostgresServer

BEFORE = "0019"
MANY = 4_500  # more than are filled at a time
COLUMNS = (Request.language, Request.who_claimed, Request.who_p, Request.kind_claimed, Request.kind_p)


@pytest.fixture(params=["sqlite", "postgresql"])
def earlier(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Database]:
    """A database of the earlier version, with an election and nothing else."""
    server: PostgresServer | None = None
    if request.param == "postgresql":
        server = request.getfixturevalue("postgres_server")
        name = f"counted_{time.monotonic_ns()}"
        server.run(f"CREATE DATABASE {name}")
    database = Database(server.url(name) if server else str(tmp_path / "earlier.sqlite3"))
    with database.engine.connect() as connection:
        command.upgrade(config_on(connection), BEFORE)
        connection.execute(text("INSERT INTO elections VALUES ('E', 'General', '2026-11-03', '2026-09-01')"))
        connection.commit()
    yield database
    database.close()
    if server:
        server.drop(server.url(name))


def _keep(database: Database, number: int, judged: dict[str, object], judgement: dict[str, object]) -> None:
    """As the earlier version wrote it."""
    known = {"n": number, "judged": json.dumps(judged), "judgement": json.dumps(judgement)}
    with database.engine.begin() as connection:
        for statement in (
            "INSERT INTO messages (id, fingerprint, message_id, sender, sender_name, subject, arrived_at, stored_at,"
            " state, attempts, judgement) VALUES (:n, 'f' || CAST(:n AS TEXT), '', '', '', '', '2026-10-05 09:00:00',"
            " '2026-10-05 09:00:00', 'read', 0, :judgement)",
            "INSERT INTO requests (id, election_id, message_id, place, person, kinds, proposal, reasons, two_people,"
            " judged, state, version, received_at) VALUES (:n, 'E', :n, 0, '', '[]', 'ask', '[]', false, :judged,"
            " 'waiting', 1, '2026-10-05 09:00:00')",
        ):
            connection.execute(text(statement), known)


def _counted(database: Database) -> list[tuple[object, ...]]:
    with database.read() as session:
        return [tuple(row) for row in session.execute(select(*COLUMNS).order_by(Request.id))]


def test_what_was_claimed_of_a_request_is_found_where_the_week_counts_it(earlier: Database) -> None:
    _keep(
        earlier,
        1,
        {"language": "vi", "p": 0.97, "candidates": [{"voter_id": "V7"}, {"voter_id": "V8"}]},
        {"kinds": [{"kind": "question", "p": 0.71}, {"kind": "other", "p": 0.2}]},
    )
    _keep(earlier, 2, {"language": "en", "candidates": []}, {"kinds": []})
    _keep(earlier, 3, {}, {})  # could not be read
    migrate(earlier)
    assert _counted(earlier) == [
        ("vi", "V7", 0.97, "question", 0.71),
        ("en", None, None, None, None),
        (None, None, None, None, None),
    ]


def test_however_many_there_are_none_is_left_out(earlier: Database) -> None:
    _keep(earlier, 1, {"language": "ko"}, {})
    with earlier.engine.begin() as connection:
        connection.execute(
            text(
                "WITH RECURSIVE more(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM more WHERE n < :many)"
                " INSERT INTO requests (id, election_id, message_id, place, person, kinds, proposal, reasons,"
                " two_people, judged, state, version, received_at) SELECT n + 1, 'E', 1, n, '', '[]', 'ask', '[]',"
                " false, judged, 'waiting', 1, received_at FROM more CROSS JOIN requests"
            ),
            {"many": MANY},
        )
    migrate(earlier)
    assert {row[0] for row in _counted(earlier)} == {"ko"}


def test_what_the_earlier_version_read_during_the_upgrade_is_filled_in_afterwards(earlier: Database) -> None:
    migrate(earlier)
    _keep(earlier, 1, {"language": "es", "p": 0.5, "candidates": [{"voter_id": "V7"}]}, {})
    with earlier.engine.begin() as connection:
        assert fill_what_is_missing(connection) == 1
        assert fill_what_is_missing(connection) == 0
    assert _counted(earlier) == [("es", "V7", 0.5, None, None)]
