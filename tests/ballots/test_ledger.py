"""The ledger: what was written stays, and a verification names the first entry that is not as it was."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta, timezone
from hashlib import sha256

import pytest
from sqlalchemy import select, text
from sqlalchemy.exc import DatabaseError
from sqlalchemy.orm import Session

from replacements.ballots.ledger import Event, Verdict, append, append_many, canonical, verify
from replacements.store.database import Database
from replacements.store.tables import LedgerEntry

AT = datetime(2031, 10, 7, 15, 0, tzinfo=UTC)


def fill(session: Session, entries: int) -> None:
    append_many(
        session,
        [
            Event("voided", "e", "kim", AT + timedelta(minutes=n), f"10{n}", f"V{n}", {"reason": 'a "quoted" ñ'})
            for n in range(1, entries + 1)
        ],
    )


def tamper(database: Database, *statements: str) -> Verdict:
    """Change the ledger behind the database's back: the triggers that refuse it are taken away first."""
    with database.write() as session:
        fill(session, 6)
    with database.engine.begin() as connection:
        if database.is_sqlite:
            for name in ("ledger_no_update", "ledger_no_delete", "ledger_in_order"):
                connection.execute(text(f"DROP TRIGGER {name}"))
        else:
            connection.execute(text("ALTER TABLE ledger DISABLE TRIGGER ALL"))
        for statement in statements:
            connection.execute(text(statement))
    with database.read() as session:
        return verify(session)


def test_an_empty_ledger_is_in_order(database: Database) -> None:
    with database.read() as session:
        assert verify(session) == Verdict(0, "0" * 64)


def test_each_entry_is_chained_to_the_one_before(database: Database) -> None:
    with database.write() as session:
        first = append(
            session, event="voided", election_id="e", by="kim", at=AT, ballot_number="1001", details={"b": 1}
        )
        second = append(session, event="reissued", election_id="e", by="kim", at=AT, details={"note": "ñ ✓"})
    assert (first.seq, second.seq, second.prev_hash) == (1, 2, first.hash)
    whole = {
        "at": "2031-10-07T15:00:00.000000+00:00",
        "ballot_number": None,
        "by": "kim",
        "details": {"note": "ñ ✓"},
        "election_id": "e",
        "event": "reissued",
        "seq": 2,
        "voter_id": None,
    }
    assert second.hash == sha256((first.hash + canonical(whole)).encode()).hexdigest()
    with database.read() as session:
        assert verify(session) == Verdict(2, second.hash)


def test_the_canonical_form_has_sorted_keys_and_no_spaces() -> None:
    assert canonical({"b": [1, 2], "a": {"d": None, "c": "ü"}}) == '{"a":{"c":"ü","d":null},"b":[1,2]}'
    with pytest.raises(ValueError, match="JSON"):
        canonical({"a": float("nan")})


def test_a_time_is_written_in_utc_and_one_without_a_zone_is_refused(database: Database) -> None:
    with database.write() as session:
        west = AT.astimezone(timezone(timedelta(hours=-7)))
        assert append(session, event="x", election_id="e", by="kim", at=west).at == "2031-10-07T15:00:00.000000+00:00"
        with pytest.raises(ValueError, match="zone"):
            append(session, event="x", election_id="e", by="kim", at=AT.replace(tzinfo=None))


@pytest.mark.parametrize(
    "statement",
    ["UPDATE ledger SET event = 'x' WHERE seq = 2", "DELETE FROM ledger WHERE seq = 6"],
)
def test_the_database_refuses_to_change_or_remove_an_entry(database: Database, statement: str) -> None:
    with database.write() as session:
        fill(session, 6)
    with database.read() as session, pytest.raises(DatabaseError, match="never changed or removed"):
        session.execute(text(statement))


@pytest.mark.parametrize(
    "change",
    [
        "by = 'sam'",
        "event = 'reissued'",
        "ballot_number = NULL",
        "voter_id = 'V9'",
        "election_id = 'f'",
        "at = '2031-10-07T15:03:00.000001+00:00'",
        'details = \'{"reason":"other"}\'',
        'details = \'{ "reason":"a"}\'',
    ],
)
def test_a_changed_entry_is_named(database: Database, change: str) -> None:
    found = tamper(database, f"UPDATE ledger SET {change} WHERE seq = 3")
    assert found.broken is not None
    assert (found.entries, found.broken.seq, found.broken.how) == (2, 3, "changed")


@pytest.mark.parametrize("seq", [1, 4])
def test_a_removed_entry_is_named(database: Database, seq: int) -> None:
    found = tamper(database, f"DELETE FROM ledger WHERE seq = {seq}")
    assert found.broken is not None
    assert (found.entries, found.broken.seq, found.broken.how) == (seq - 1, seq, "removed")


def test_two_entries_that_changed_places_are_out_of_order(database: Database) -> None:
    found = tamper(
        database,
        "UPDATE ledger SET seq = 99 WHERE seq = 3",
        "UPDATE ledger SET seq = 3 WHERE seq = 5",
        "UPDATE ledger SET seq = 5 WHERE seq = 99",
    )
    assert found.broken is not None
    assert (found.broken.seq, found.broken.how) == (3, "out of order")
    assert "written as entry 5" in found.broken.text


def rewrite(database: Database, seq: int) -> None:
    with database.read() as session:
        entry = session.get_one(LedgerEntry, seq)
        whole = {name: getattr(entry, name) for name in ("at", "ballot_number", "by", "election_id", "seq", "voter_id")}
        new = canonical({**whole, "event": "other", "details": json.loads(entry.details)})
        digest = sha256((entry.prev_hash + new).encode()).hexdigest()
    with database.engine.begin() as connection:
        connection.execute(text(f"UPDATE ledger SET event = 'other', hash = '{digest}' WHERE seq = {seq}"))


def test_an_entry_that_was_rewritten_with_its_hash_shows_at_the_next_one(database: Database) -> None:
    assert tamper(database).broken is None
    rewrite(database, 3)
    with database.read() as session:
        found = verify(session)
    assert found.broken is not None
    assert (found.broken.seq, found.broken.how) == (4, "out of order")


@pytest.fixture
def anchored(database: Database) -> Callable[[tuple[int, str]], Verdict]:
    def check(anchor: tuple[int, str]) -> Verdict:
        with database.read() as session:
            return verify(session, anchor=anchor)

    return check


def test_entries_cut_off_the_end_show_against_a_head_kept_elsewhere(
    database: Database, anchored: Callable[[tuple[int, str]], Verdict]
) -> None:
    whole = tamper(database)
    assert anchored((6, whole.head)).broken is None
    with database.engine.begin() as connection:
        connection.execute(text("DELETE FROM ledger WHERE seq > 4"))
    broken = anchored((6, whole.head)).broken
    assert broken is not None
    assert (broken.seq, broken.how) == (5, "removed")


def test_a_last_entry_that_was_rewritten_shows_against_a_head_kept_elsewhere(
    database: Database, anchored: Callable[[tuple[int, str]], Verdict]
) -> None:
    whole = tamper(database)
    rewrite(database, 6)
    broken = anchored((6, whole.head)).broken
    assert broken is not None
    assert (broken.seq, broken.how) == (6, "changed")


def test_many_entries_are_one_chain_with_what_follows(database: Database) -> None:
    with database.write() as session:
        fill(session, 250)
    with database.write() as session:
        append(session, event="mailed", election_id="e", by="kim", at=AT)
        assert append_many(session, []) == 0
    with database.read() as session:
        assert verify(session).entries == 251
        assert session.scalars(select(LedgerEntry.seq).order_by(LedgerEntry.seq)).all() == list(range(1, 252))
