"""The test databases themselves: fresh and migrated for every test."""

from datetime import UTC, date, datetime

import pytest
from sqlalchemy import func, select

from replacements.store.database import Database
from replacements.store.tables import Election


@pytest.mark.parametrize("time", ["first", "second"])
def test_every_test_has_an_empty_database_of_its_own(database: Database, time: str) -> None:
    with database.write() as session:
        assert session.scalar(select(func.count()).select_from(Election)) == 0
        session.add(Election(id="e", name=time, held_on=date(2030, 11, 5), created_at=datetime(2030, 1, 1, tzinfo=UTC)))
