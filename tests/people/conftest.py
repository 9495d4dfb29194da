"""A migrated SQLite file of its own for each test of this room."""

import pytest

from replacements.store.database import Database


@pytest.fixture
def people_database(sqlite_database: Database) -> Database:
    return sqlite_database
