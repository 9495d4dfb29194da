"""An office is brought to the present schema while its people work: nobody waits long, and nothing is left half-way."""

from __future__ import annotations

import re
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from alembic import command
from alembic.script import ScriptDirectory
from sqlalchemy import event, inspect, text

from replacements.store import migrate as migrating
from replacements.store.database import Database
from replacements.store.migrate import DatabaseTrouble, config_on, migrate, revision_of
from tests.servers.databases import PostgresServer

BEFORE = "0010"  # the schema of the version that is still running
REQUESTS = 20_000


@pytest.fixture
def old_office(postgres_server: PostgresServer) -> Iterator[Database]:
    """A database of the earlier version with many messages and requests, read and written by that version."""
    name = f"earlier_{time.monotonic_ns()}"
    postgres_server.run(f"CREATE DATABASE {name}")
    database = Database(postgres_server.url(name))
    with database.engine.connect() as connection:
        command.upgrade(config_on(connection), BEFORE)
        connection.execute(
            text("INSERT INTO elections VALUES ('2026-11-03-general', 'General', '2026-11-03', '2026-09-01')")
        )
        connection.execute(text(_MESSAGES), {"first": 1, "last": REQUESTS})
        connection.execute(text(_REQUESTS), {"last": REQUESTS})
        connection.commit()
    yield database
    database.close()
    postgres_server.drop(postgres_server.url(name))


_MESSAGES = (
    "INSERT INTO messages (id, fingerprint, message_id, sender, sender_name, subject, arrived_at, stored_at, state,"
    " attempts) SELECT n, 'f' || n, '', '', '', '', now(), now(), 'read', 0"
    " FROM generate_series(CAST(:first AS int), CAST(:last AS int)) n"
)
_REQUESTS = (
    "INSERT INTO requests (id, election_id, message_id, place, person, kinds, proposal, reasons, two_people, judged,"
    " state, version, received_at) SELECT n, '2026-11-03-general', n, 0, '', '[]', 'ask', '[]', false, '{}',"
    " 'waiting', 1, now() FROM generate_series(1, CAST(:last AS int)) n"
)


@contextmanager
def _the_old_version_at_work(database: Database) -> Iterator[list[float]]:
    """Reads and writes what the earlier version does, all the time. Gives how many seconds each took."""
    stopped, took = threading.Event(), list[float]()

    def work() -> None:
        number = REQUESTS
        while not stopped.is_set():
            number += 1
            began = time.monotonic()
            with database.engine.begin() as connection:
                connection.execute(text("SELECT id, state FROM messages ORDER BY id DESC LIMIT 20")).all()
                connection.execute(text("SELECT count(*) FROM requests WHERE state = 'waiting'")).scalar()
                connection.execute(text(_MESSAGES), {"first": number, "last": number})
            took.append(time.monotonic() - began)

    with ThreadPoolExecutor(1) as pool:
        working = pool.submit(work)
        try:
            yield took
        finally:
            stopped.set()
            working.result(30)


def _is_present(database: Database) -> bool:
    with database.engine.connect() as connection:
        return revision_of(connection) == ScriptDirectory.from_config(migrating._config()).get_current_head()


def test_there_is_one_newest_schema() -> None:
    assert len(ScriptDirectory.from_config(migrating._config()).get_heads()) == 1


def test_the_old_version_goes_on_reading_and_writing_while_the_schema_changes(old_office: Database) -> None:
    with _the_old_version_at_work(old_office) as took:
        time.sleep(0.3)
        migrate(old_office)
        time.sleep(0.3)
    assert _is_present(old_office)
    assert len(took) > 10
    assert max(took) < migrating.LOCK_SECONDS + 1
    with old_office.engine.connect() as connection:
        index = {found["name"]: found for found in inspect(connection).get_indexes("requests")}
        valid = connection.execute(
            text("SELECT indisvalid FROM pg_index WHERE indexrelid = 'requests_of_an_election'::regclass")
        ).scalar_one()
    assert index["requests_of_an_election"]["column_names"] == ["election_id", "state"]
    assert valid


def test_a_long_look_at_a_table_makes_nobody_else_wait_long_and_the_upgrade_comes_after_it(
    old_office: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(migrating, "LOCK_SECONDS", 1)
    monkeypatch.setattr(migrating, "BETWEEN_TRIES", 0.2)
    with ThreadPoolExecutor(1) as pool, _the_old_version_at_work(old_office) as took:
        with old_office.engine.connect() as long_look:
            long_look.execute(text("SELECT count(*) FROM messages"))
            upgrade = pool.submit(migrate, old_office)
            time.sleep(2.5)
            assert not upgrade.done()
        upgrade.result(60)
    assert _is_present(old_office)
    assert max(took) < 2.5


def test_who_holds_a_table_for_ever_is_named_as_the_reason_and_nothing_is_half_done(
    old_office: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(migrating, "LOCK_SECONDS", 1)
    monkeypatch.setattr(migrating, "BETWEEN_TRIES", 0.0)
    monkeypatch.setattr(migrating, "MOST_TRIES", 2)
    with old_office.engine.connect() as holds:
        holds.execute(text("LOCK TABLE messages IN ACCESS SHARE MODE"))
        with pytest.raises(DatabaseTrouble, match="held by others"):
            migrate(old_office)
        assert revision_of(holds) == BEFORE
    migrate(old_office)
    assert _is_present(old_office)


def test_no_index_on_a_table_with_rows_keeps_those_who_write_waiting_while_it_is_made(old_office: Database) -> None:
    plain, beside = [], []

    def note(_c: Any, _cursor: Any, statement: str, *_: Any) -> None:
        if made := re.match(r"CREATE (?:UNIQUE )?INDEX (CONCURRENTLY )?\S+ ON (\w+)", statement):
            (beside if made[1] else plain).append(made[2])

    event.listen(old_office.engine, "before_cursor_execute", note)
    migrate(old_office)
    assert not {"messages", "requests"} & set(plain)
    assert {"messages", "requests"} == set(beside)


def test_a_migration_makes_indexes_in_the_plain_way_only_on_tables_of_its_own() -> None:
    for one in ScriptDirectory.from_config(migrating._config()).iterate_revisions("head", "0001"):
        text_of = Path(str(one.module.__file__)).read_text(encoding="utf-8")
        its_own = set(re.findall(r'op\.create_table\(\s*"(\w+)"', text_of))
        plain = re.findall(r'op\.create_index\(\s*(?:op\.f\()?"\w+"\)?,\s*"(\w+)"', text_of)
        assert len(plain) == text_of.count("op.create_index("), one.revision
        assert set(plain) <= its_own, one.revision


@pytest.mark.parametrize(
    ("name", "table", "columns"),
    [
        ("requests_of_an_election", "requests", ["election_id", "state"]),
        ("messages_of_a_week", "messages", ["arrived_at"]),
        ("packets_of_a_request", "packets", ["request_id"]),  # a table without rows
    ],
)
def test_an_index_that_was_broken_off_is_made_anew(
    old_office: Database, name: str, table: str, columns: list[str]
) -> None:
    with old_office.engine.connect() as connection:
        connection.execute(text("ALTER TABLE messages ADD COLUMN reading_since timestamp"))
        connection.execute(text(f"CREATE INDEX {name} ON {table} (id)"))
        connection.commit()
    migrate(old_office)
    with old_office.engine.connect() as connection:
        index = {found["name"]: found for found in inspect(connection).get_indexes(table)}
    assert index[name]["column_names"] == columns
    assert _is_present(old_office)


def test_several_programs_that_start_at_once_migrate_once(old_office: Database) -> None:
    others = [Database(old_office.url) for _ in range(4)]
    with ThreadPoolExecutor(4) as pool:
        for done in [pool.submit(migrate, one) for one in others]:
            done.result(60)
    for one in others:
        one.close()
    assert _is_present(old_office)
