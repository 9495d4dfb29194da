"""What the pages ask of the database, counted; how long they take in a large office is measured by
`tests.benchmarks.pages_of_a_large_office`, whose pages and addresses these are."""

from __future__ import annotations

from pathlib import Path

import pytest

from replacements.store.database import Database
from tests.benchmarks.a_large_office import LargeOffice
from tests.benchmarks.pages_of_a_large_office import MOST_STATEMENTS, Measured, measure, site_over

Counts = dict[tuple[str, str], Measured]


def counted(folder: Path, size: int) -> Counts:
    database = Database(str(folder / f"{size}.sqlite3"))
    LargeOffice(database, voters=6 * size, ballots=4 * size, requests=size)
    try:
        return measure(database, site_over(database, folder), tries=1)
    finally:
        database.close()


@pytest.fixture(scope="module")
def offices(tmp_path_factory: pytest.TempPathFactory) -> tuple[Counts, Counts]:
    folder = tmp_path_factory.mktemp("offices")
    return counted(folder, 150), counted(folder, 600)


def test_no_page_asks_more_than_twelve_statements(offices: tuple[Counts, Counts]) -> None:
    """For a supervisor and a clerk, at every address that is drawn of each page."""
    many = {
        (page, role): max(one.statements)
        for few_or_many in offices
        for (page, role), one in few_or_many.items()
        if max(one.statements) > MOST_STATEMENTS
    }
    assert not many


def test_a_page_asks_no_more_in_an_office_four_times_as_large(offices: tuple[Counts, Counts]) -> None:
    few, many = offices
    assert set(few) == set(many)
    grown = {
        (page, role): (max(few[page, role].statements), max(one.statements))
        for (page, role), one in many.items()
        if max(one.statements) > max(few[page, role].statements)
    }
    assert not grown


def test_the_front_page_a_request_and_the_week_are_among_the_counted(offices: tuple[Counts, Counts]) -> None:
    pages = {page for page, role in offices[0] if role == "clerk"}
    assert {"/", "/now", "/requests/", "/requests/<int:request_id>", "/requests/together/", "search"} <= pages
    pages = {page for page, role in offices[0] if role == "supervisor"}
    assert {"/week/", "/week/<monday>", "/public-report/", "/public-report/<monday>"} <= pages
