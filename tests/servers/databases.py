"""PostgreSQL and SQLite databases for tests.

`database` runs a test on both. Each test has a fresh and migrated database of its own: migrations run once a session,
into a template that is copied. The PostgreSQL server is a private one on a free port, never the machine's.
"""

from __future__ import annotations

import os
import pwd
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from itertools import count
from pathlib import Path

import psycopg
import pytest

from replacements.store.database import Database
from replacements.store.migrate import migrate
from tests.servers.ports import free_port

START_SECONDS = 60
TEMPLATE = "office_template"
OPTIONS = (
    "fsync=off",
    "full_page_writes=off",
    "synchronous_commit=off",
    "max_connections=60",
    "shared_buffers=32MB",
    "wal_level=minimal",
    "max_wal_senders=0",
    "max_wal_size=128MB",
    "autovacuum=off",  # no database lives long enough, and copies of the template would each be looked through
)


@dataclass(frozen=True)
class PostgresServer:
    """A running private server. `new_database()` gives the URL of a fresh, migrated database."""

    port: int
    user: str = "office"
    _numbers: Iterator[int] = field(default_factory=count, repr=False)

    def url(self, name: str) -> str:
        return f"postgresql://{self.user}@127.0.0.1:{self.port}/{name}"

    def run(self, statement: str) -> None:
        with psycopg.connect(self.url("postgres"), autocommit=True) as connection:
            connection.execute(statement.encode())

    @cached_property
    def _copying(self) -> str:
        """As files, not page by page through the log: several times faster. Before version 15 there is no other way."""
        with psycopg.connect(self.url("postgres")) as connection:
            return "STRATEGY FILE_COPY" if connection.info.server_version >= 150_000 else ""

    def new_database(self) -> str:
        name = f"office_{next(self._numbers)}"
        self.run(f"CREATE DATABASE {name} TEMPLATE {TEMPLATE} {self._copying}")
        return self.url(name)

    def drop(self, url: str) -> None:
        self.run(f"DROP DATABASE {url.rsplit('/', 1)[1]} WITH (FORCE)")


def _programs() -> Path:
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: float(path.parts[-3]))
    if found:
        return found[-1].parent
    on_path = shutil.which("initdb")
    if on_path:
        return Path(on_path).resolve().parent
    pytest.skip("PostgreSQL is not installed (no initdb in /usr/lib/postgresql/*/bin or on PATH)")


def _account() -> str | None:
    """PostgreSQL refuses to run as root: then another user runs it."""
    if os.geteuid() != 0:
        return None
    names = {entry.pw_name for entry in pwd.getpwall()}
    for name in ("postgres", "nobody"):
        if name in names:
            return name
    pytest.skip("PostgreSQL refuses to run as root, and there is no user postgres or nobody")


def _wait(server: PostgresServer, process: subprocess.Popen[bytes], log: Path) -> None:
    until = time.monotonic() + START_SECONDS
    while True:
        try:
            server.run("SELECT 1")
            return
        except psycopg.OperationalError:
            if process.poll() is not None or time.monotonic() > until:
                raise RuntimeError(f"PostgreSQL did not start:\n{log.read_text(errors='replace')[-2000:]}") from None
            time.sleep(0.05)


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[PostgresServer]:
    """A private PostgreSQL on a free port, with a migrated template database; stopped and removed at the end."""
    programs, account = _programs(), _account()
    folder = Path(tempfile.mkdtemp(prefix="office-postgres-"))
    if account:
        shutil.chown(folder, account)
    data, log = folder / "data", folder / "log"
    initdb = [
        str(programs / "initdb"),
        "-D",
        str(data),
        "-U",
        "office",
        "-A",
        "trust",
        "-E",
        "UTF8",
        "--no-locale",
        "--no-sync",
    ]
    try:
        subprocess.run(initdb, check=True, capture_output=True, user=account, cwd=folder)
        server = PostgresServer(free_port())
        options = [part for option in OPTIONS for part in ("-c", option)]
        start = [
            str(programs / "postgres"),
            "-D",
            str(data),
            "-p",
            str(server.port),
            "-h",
            "127.0.0.1",
            "-k",
            str(folder),
        ]
        with log.open("wb") as output:
            process = subprocess.Popen([*start, *options], stdout=output, stderr=output, user=account, cwd=folder)
        try:
            _wait(server, process, log)
            server.run(f"CREATE DATABASE {TEMPLATE}")
            template = Database(server.url(TEMPLATE))
            migrate(template)
            template.close()
            yield server
        finally:
            process.send_signal(signal.SIGQUIT)  # at once: nothing in it is to be kept
            process.wait(timeout=START_SECONDS)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture
def postgres_database(postgres_server: PostgresServer) -> Iterator[Database]:
    """A fresh, migrated PostgreSQL database."""
    url = postgres_server.new_database()
    database = Database(url)
    yield database
    database.close()
    postgres_server.drop(url)


@pytest.fixture(scope="session")
def sqlite_template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A migrated SQLite file, copied for each test."""
    path = tmp_path_factory.mktemp("sqlite") / "template.sqlite3"
    database = Database(str(path))
    migrate(database)
    with database.engine.connect() as connection:
        connection.exec_driver_sql("SELECT 1")
    database.close()  # the last connection folds the write-ahead log into the file
    return path


@pytest.fixture
def sqlite_database(tmp_path: Path, sqlite_template: Path) -> Iterator[Database]:
    """A fresh, migrated SQLite database."""
    path = tmp_path / "office.sqlite3"
    shutil.copyfile(sqlite_template, path)
    database = Database(str(path))
    yield database
    database.close()


@pytest.fixture(params=["sqlite", "postgresql"])
def database(request: pytest.FixtureRequest) -> Database:
    """The same test on SQLite and on PostgreSQL."""
    name = "sqlite_database" if request.param == "sqlite" else "postgres_database"
    found = request.getfixturevalue(name)
    assert isinstance(found, Database)
    return found
