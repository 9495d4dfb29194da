"""The nightly look at the books, and the head that it signs each day."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import text

from replacements.ballots import heads, life
from replacements.ballots.importing import import_ballots
from replacements.settings import Settings
from replacements.store.database import Database
from replacements.store.tables import Election
from worker import books

ELECTION = "2031-11-04-general"
AT = datetime(2031, 10, 7, 15, 0, tzinfo=UTC)
Look = Callable[[int], tuple[bool, str]]


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    found = Settings.from_environment({}, data=tmp_path / "data")
    heads.make_key(found.ledger_key)
    return found


@pytest.fixture
def office(database: Database, tmp_path: Path) -> Database:
    path = tmp_path / "ballots.csv"
    path.write_text("ballot_number,voter_id,style,state\n" + "\n".join(f"{n},V{n},A,issued" for n in range(1, 6)))
    with database.write() as session:
        session.add(Election(id=ELECTION, name="General election", held_on=date(2031, 11, 4), created_at=AT))
        session.flush()
        import_ballots(session, path, election_id=ELECTION, at=AT)
    return database


@pytest.fixture
def look(office: Database, settings: Settings) -> Look:
    """The look of that many days later."""
    return lambda days: books.look(office, settings, at=AT + timedelta(days=days))


def without_guards(database: Database) -> None:
    with database.engine.begin() as connection:
        if database.is_sqlite:
            for name in ("ledger_no_update", "ledger_no_delete"):
                connection.execute(text(f"DROP TRIGGER {name}"))
        else:
            connection.execute(text("ALTER TABLE ledger DISABLE TRIGGER ALL"))


def test_each_day_a_head_is_signed_that_continues_the_one_before(
    look: Look, office: Database, settings: Settings
) -> None:
    assert look(0)[0]
    assert look(0)[0]
    with office.write() as session:
        life.void(session, number="1", reason="cancelled", by="kim", at=AT)
    ok, told = look(1)
    assert ok
    assert "6 entries, and continues the head signed on 2031-10-07" in told
    assert sorted(path.name for path in (settings.data / "heads").iterdir()) == [
        "head-2031-10-07.json", "head-2031-10-08.json",
    ]  # fmt: skip


def test_entries_cut_off_since_yesterday_are_said_and_no_head_is_signed(
    look: Look, office: Database, settings: Settings
) -> None:
    look(0)
    without_guards(office)
    with office.engine.begin() as connection:
        connection.execute(text("DELETE FROM ledger WHERE seq = 5"))
    ok, told = look(1)
    assert not ok
    assert "entry 5 is gone" in told
    assert len(list((settings.data / "heads").iterdir())) == 1


def test_a_state_that_no_entry_explains_is_named_to_the_ballot(look: Look, office: Database) -> None:
    with office.engine.begin() as connection:
        connection.execute(text("UPDATE ballots SET state = 'voided' WHERE number = '3'"))
    ok, told = look(0)
    assert not ok
    assert "Ballot 3: state: voided on record, issued by the ledger (entry 3)" in told


def test_a_kept_head_that_was_changed_is_said(look: Look, settings: Settings) -> None:
    look(0)
    path = settings.data / "heads" / "head-2031-10-07.json"
    path.write_text(path.read_text().replace('"entries": 5', '"entries": 4'))
    ok, told = look(1)
    assert not ok
    assert "not as it was signed" in told


def test_without_a_key_the_books_are_looked_at_all_the_same(office: Database, settings: Settings) -> None:
    ok, told = books.look(office, replace(settings, ledger_key=settings.data / "none"), at=AT)
    assert ok
    assert "No key signs its head yet" in told
