"""An office to back up, on both kinds of database, and another place to restore it to."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest

from replacements.settings import Settings
from replacements.store.database import Database
from tests.servers.databases import PostgresServer


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    """Of the office that is backed up."""
    found = Settings.from_environment({}, data=tmp_path / "office")
    found.data.mkdir()
    return found


@pytest.fixture
def elsewhere(tmp_path: Path) -> Settings:
    """Of the machine that it is restored on: nothing is there yet."""
    return Settings.from_environment({}, data=tmp_path / "elsewhere")


Another = Callable[[], Database]


@pytest.fixture
def another(database: Database, tmp_path: Path, request: pytest.FixtureRequest) -> Iterator[Another]:
    """`another()`: an empty database of the same kind, on another machine as it were."""
    with ExitStack() as closing:
        numbers = iter(range(100))

        def made() -> Database:
            if database.is_sqlite:
                fresh = Database(str(tmp_path / f"elsewhere-{next(numbers)}.sqlite3"))
            else:
                server: PostgresServer = request.getfixturevalue("postgres_server")
                name = f"elsewhere_{id(closing)}_{next(numbers)}"
                server.run(f"CREATE DATABASE {name}")
                closing.callback(server.drop, server.url(name))
                fresh = Database(server.url(name))
            closing.callback(fresh.close)
            return fresh

        yield made
