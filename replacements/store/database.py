"""One engine, two kinds of session: `read()` and `write()`. SQLite (WAL) and PostgreSQL.

A `write()` is one transaction: all of it happens or none. On SQLite it takes the write lock at its start (BEGIN
IMMEDIATE), so that two writers queue up instead of failing half-way; on PostgreSQL rows are locked where it matters.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Engine, create_engine, event, make_url, text
from sqlalchemy.orm import Session, sessionmaker

from replacements.store.sealing import NO_KEYS, Keys, give

SQLITE_WAIT_SECONDS = 60
CONNECT_SECONDS = 10  # a server that does not even answer; without it one waits for as long as the network likes
LEDGER_LOCK = 70_130  # any number; the key of PostgreSQL's advisory lock around the end of the ledger
_LOCK = text("SELECT pg_advisory_xact_lock(:key)")


def database_url(text_or_path: str) -> str:
    """Accept what people write: a SQLAlchemy URL, `postgresql://…` or a file path. Returns a SQLAlchemy URL."""
    if "://" not in text_or_path:
        return f"sqlite:///{Path(text_or_path).resolve()}"
    url = make_url(text_or_path)
    if url.drivername in ("postgres", "postgresql"):
        url = url.set(drivername="postgresql+psycopg")
    return url.render_as_string(hide_password=False)


class Database:
    """The database as every other room sees it. `keys`: what its stored mail is sealed with."""

    def __init__(self, url: str, keys: Keys = NO_KEYS) -> None:
        self.url = database_url(url)
        self.is_sqlite = self.url.startswith("sqlite")
        wait = {"timeout": SQLITE_WAIT_SECONDS} if self.is_sqlite else {"connect_timeout": CONNECT_SECONDS}
        self.engine: Engine = create_engine(
            self.url,
            pool_pre_ping=not self.is_sqlite,
            hide_parameters=True,  # an error's text may end in a log; the values were names and letters
            connect_args=wait,
        )
        give(self.engine.dialect, keys)
        if self.is_sqlite:
            _prepare_sqlite(self.engine)
        else:
            _prepare_postgresql(self.engine)
        self._sessions = sessionmaker(self.engine, expire_on_commit=False)

    @contextmanager
    def write(self) -> Iterator[Session]:
        """A session whose work is committed at the end, or undone whole if anything is raised."""
        with self._sessions() as session:
            if self.is_sqlite:
                session.connection(execution_options={"sqlite_begin": "IMMEDIATE"})
            with session.begin() if not session.in_transaction() else _finish(session):
                yield session

    @contextmanager
    def read(self) -> Iterator[Session]:
        """A session for looking; what is done in it is undone. Rows that were read stay readable afterwards.

        All of it sees the database as it was at the first look, so that nobody reads half of an import.
        """
        with self._sessions() as session:
            if not self.is_sqlite:  # SQLite does so by itself
                session.connection(execution_options={"isolation_level": "REPEATABLE READ"})
            try:
                yield session
            finally:
                session.expunge_all()
                session.rollback()

    def close(self) -> None:
        self.engine.dispose()


@contextmanager
def _finish(session: Session) -> Iterator[None]:
    try:
        yield
    except BaseException:
        session.rollback()
        raise
    session.commit()


def _prepare_sqlite(engine: Engine) -> None:
    @event.listens_for(engine, "connect")
    def connect(dbapi_connection: Any, _record: Any) -> None:
        dbapi_connection.isolation_level = None  # the driver must not begin transactions on its own
        cursor = dbapi_connection.cursor()
        cursor.execute(f"PRAGMA busy_timeout = {SQLITE_WAIT_SECONDS * 1000}")
        cursor.execute("PRAGMA journal_mode = WAL")
        cursor.execute("PRAGMA synchronous = FULL")  # a decision that was shown as done survives a power cut
        cursor.execute("PRAGMA foreign_keys = ON")
        cursor.close()

    @event.listens_for(engine, "begin")
    def begin(connection: Any) -> None:
        kind = connection.get_execution_options().get("sqlite_begin", "")
        connection.exec_driver_sql(f"BEGIN {kind}".strip())


def _prepare_postgresql(engine: Engine) -> None:
    """No just-in-time compiling and no workers beside: both take longer to begin than the questions of a page take."""

    @event.listens_for(engine, "connect")
    def connect(dbapi_connection: Any, _record: Any) -> None:
        with dbapi_connection.cursor() as cursor:
            cursor.execute("SET jit = off")
            cursor.execute("SET max_parallel_workers_per_gather = 0")
        dbapi_connection.commit()


def lock_ledger(session: Session) -> None:
    """Let one transaction at a time extend the ledger. Take it after all row locks, so that nobody waits in a ring."""
    if session.get_bind().dialect.name == "postgresql":
        session.execute(_LOCK, {"key": LEDGER_LOCK})
