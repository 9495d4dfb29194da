"""The invented office, its rules adopted or not, with a client for every role."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from replacements.people.passwords import hashed
from replacements.settings import Settings
from replacements.store.database import Database
from tests.web.invented_office import PASSWORD, Clock, Site, add_accounts, seed, seeded_file, site_over


@pytest.fixture(scope="session")
def seeded(tmp_path_factory: pytest.TempPathFactory, sqlite_template: Path) -> dict[bool, Path]:
    """Seeded database files to copy, made once: with rules adopted, and not. One hash serves all accounts."""
    folder, one_hash = tmp_path_factory.mktemp("seeded"), hashed(PASSWORD)
    return {
        adopted: seeded_file(folder / f"{adopted}.sqlite3", sqlite_template, one_hash, adopted=adopted)
        for adopted in (True, False)
    }


@pytest.fixture
def site(tmp_path: Path, seeded: dict[bool, Path]) -> Iterator[Site]:
    made = site_over(seeded[True], tmp_path)
    yield made
    made.database.close()


@pytest.fixture
def unadopted_site(tmp_path: Path, seeded: dict[bool, Path]) -> Iterator[Site]:
    made = site_over(seeded[False], tmp_path / "unadopted")
    yield made
    made.database.close()


@pytest.fixture(params=["sqlite", "postgresql"])
def any_site(request: pytest.FixtureRequest, tmp_path: Path) -> Site:
    """The pages over each kind of database."""
    if request.param == "sqlite":
        return request.getfixturevalue("site")  # type: ignore[no-any-return]
    database: Database = request.getfixturevalue("postgres_database")
    add_accounts(database, hashed(PASSWORD))
    seed(database)
    settings = Settings(data=tmp_path, database="", mailbox="", outbox="", secret_file=tmp_path / "secret")
    return Site(database, Clock(), settings)
