"""A migrated SQLite file of its own for each test of this room."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from replacements.store.database import Database
from replacements.store.migrate import migrate


@pytest.fixture
def people_database(tmp_path: Path) -> Iterator[Database]:
    database = Database(str(tmp_path / "people.db"))
    migrate(database)
    yield database
    database.close()
