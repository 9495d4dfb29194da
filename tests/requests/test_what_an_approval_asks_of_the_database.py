"""An approval is short: it asks the database for little, and holds what colleagues wait for no longer than it must."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pytest
from sqlalchemy import event

from replacements.requests import deciding
from replacements.store.database import Database
from tests.requests.conftest import MONDAY, OfficeAtWork

# Statements of one approved replacement, the beginning and the end of its transaction aside.
ON_POSTGRESQL = 16
ON_SQLITE = 15  # the whole database is locked there, and the ledger with it
WHILE_COLLEAGUES_WAIT = 12
LOCKS = ("FROM requests", "FROM mailings", "FROM ballots", "pg_advisory_xact_lock")
READ_UNDER_THE_LEDGERS_LOCK = ("FROM ledger", "FROM ballots")  # where the chain ends, and the next free number


@contextmanager
def asked_of(database: Database) -> Iterator[list[str]]:
    """The statements that are sent meanwhile."""
    statements: list[str] = []

    def note(_connection: object, _cursor: object, statement: str, *_rest: object) -> None:
        if not statement.startswith("BEGIN"):
            statements.append(" ".join(statement.split()))

    event.listen(database.engine, "before_cursor_execute", note)
    try:
        yield statements
    finally:
        event.remove(database.engine, "before_cursor_execute", note)


def of_an_approval(at_work: OfficeAtWork) -> list[str]:
    """The statements of the day's second approval. The first one makes the day's mailing; the second is as most are."""
    ada = at_work.spoiled_by_ada()
    (temi,) = at_work.receive(
        "Hello, I filled in the wrong oval on my ballot. Please send me another one.\n\n"
        "Temi Oyelowa\n220 Ferry Lane, Apt 4, Saltgrass\nborn July 19, 1990\n",
        sender="Temi Oyelowa <temi@post.example>",
    )
    asked: list[list[str]] = []
    for request in (ada, temi):
        with asked_of(at_work.database) as statements:
            outcome = deciding.approve(at_work.database, request.id, version=1, by="clara", roles=("clerk",), at=MONDAY)
        assert outcome.issued
        assert "goes out now" in outcome.text
        asked.append(statements)
    return asked[-1]


@pytest.fixture
def on_postgresql(postgres_database: Database, county: Callable[[Database], OfficeAtWork]) -> list[str]:
    return of_an_approval(county(postgres_database))


def test_an_approved_replacement_asks_the_database_for_little_and_for_nothing_twice(at_work: OfficeAtWork) -> None:
    statements = of_an_approval(at_work)
    assert len(statements) == (ON_SQLITE if at_work.database.is_sqlite else ON_POSTGRESQL), "\n".join(statements)
    assert len(set(statements)) == len(statements)


def test_the_request_the_mailing_the_ballots_and_the_ledger_are_locked_in_this_order(on_postgresql: list[str]) -> None:
    locks = [text for text in on_postgresql if "FOR UPDATE" in text or "pg_advisory_xact_lock" in text]
    assert len(locks) == len(LOCKS)
    assert all(what in text for what, text in zip(LOCKS, locks, strict=True))


def test_what_can_be_read_before_colleagues_wait_is_read_before(on_postgresql: list[str]) -> None:
    mailing = next(place for place, text in enumerate(on_postgresql) if "FROM mailings" in text)
    ledger = next(place for place, text in enumerate(on_postgresql) if "pg_advisory_xact_lock" in text)
    assert len(on_postgresql[mailing:]) == WHILE_COLLEAGUES_WAIT
    read = [text for text in on_postgresql[ledger + 1 :] if text.startswith("SELECT")]
    assert len(read) == len(READ_UNDER_THE_LEDGERS_LOCK)
    assert all(what in text for what, text in zip(READ_UNDER_THE_LEDGERS_LOCK, read, strict=True))
