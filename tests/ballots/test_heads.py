"""Signed heads: whether the ledger of today still continues the ledger of then."""

from __future__ import annotations

import json
import stat
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest
from nacl.signing import SigningKey
from sqlalchemy import select, text

from replacements.ballots import heads
from replacements.ballots.heads import Head, HeadTrouble
from replacements.ballots.ledger import Event, Verdict, append_many, canonical_entry, chained
from replacements.store.database import Database
from replacements.store.tables import LedgerEntry

AT = datetime(2031, 10, 7, 15, 0, tzinfo=UTC)
KEY = SigningKey(b"k" * 32)
PUBLIC = bytes(KEY.verify_key).hex()


def fill(database: Database, entries: int) -> None:
    with database.write() as session:
        append_many(session, [Event("voided", "e", "kim", AT, f"10{n}", f"V{n}", {"n": n}) for n in range(entries)])


def signed(database: Database, every: int = 100) -> Head:
    with database.read() as session:
        made = heads.sign(session, KEY, at=AT, every=every)
    return heads.read_head(made.as_json(), name="head")


def compared(database: Database, head: Head, key: str | None = PUBLIC) -> Verdict:
    with database.read() as session:
        return heads.compare(session, head, key=key)


@pytest.fixture
def rewritten(database: Database) -> Callable[[int], None]:
    """Change an entry and calculate every hash after it anew, as somebody would who knows how the chain is made."""

    def rewrite(seq: int) -> None:
        with database.engine.begin() as connection:
            if database.is_sqlite:
                for name in ("ledger_no_update", "ledger_no_delete"):
                    connection.execute(text(f"DROP TRIGGER {name}"))
            else:
                connection.execute(text("ALTER TABLE ledger DISABLE TRIGGER ALL"))
            connection.execute(text(f"UPDATE ledger SET by = 'sam' WHERE seq = {seq}"))
        with database.write() as session:
            before = session.scalar(select(LedgerEntry.hash).where(LedgerEntry.seq == seq - 1)) or "0" * 64
            for entry in session.scalars(select(LedgerEntry).where(LedgerEntry.seq >= seq).order_by(LedgerEntry.seq)):
                entry.prev_hash = before
                entry.hash = before = chained(before, canonical_entry(entry))

    return rewrite


def test_a_ledger_that_grew_still_continues_the_head_signed_before(database: Database) -> None:
    fill(database, 5)
    head = signed(database)
    fill(database, 7)
    verdict = compared(database, head)
    assert (verdict.broken, verdict.entries) == (None, 12)


def test_the_head_of_an_empty_ledger_is_continued_by_every_ledger(database: Database) -> None:
    head = signed(database)
    fill(database, 3)
    assert compared(database, head).broken is None


def test_a_ledger_calculated_anew_is_told_to_the_stretch_between_two_rungs(
    database: Database, rewritten: Callable[[int], None]
) -> None:
    fill(database, 25)
    head = signed(database, every=10)
    rewritten(14)
    broken = compared(database, head).broken
    assert broken is not None
    assert (broken.since, broken.seq, broken.how) == (11, 20, "changed")
    assert "entries 11 to 20" in broken.text


def test_with_a_rung_for_every_entry_it_is_told_to_the_entry(
    database: Database, rewritten: Callable[[int], None]
) -> None:
    fill(database, 25)
    head = signed(database, every=1)
    rewritten(14)
    broken = compared(database, head).broken
    assert broken is not None
    assert (broken.since, broken.seq) == (14, 14)


def test_entries_cut_off_the_end_are_named(database: Database) -> None:
    fill(database, 6)
    head = signed(database)
    with database.engine.begin() as connection:
        if database.is_sqlite:
            connection.execute(text("DROP TRIGGER ledger_no_delete"))
        else:
            connection.execute(text("ALTER TABLE ledger DISABLE TRIGGER ALL"))
        connection.execute(text("DELETE FROM ledger WHERE seq > 4"))
    broken = compared(database, head).broken
    assert broken is not None
    assert (broken.seq, broken.how) == (5, "removed")
    assert "entries 5 to 6 are gone" in broken.text


@pytest.mark.parametrize(
    ("name", "value"),
    [("entries", 4), ("hash", "0" * 64), ("at", "2031-10-08T15:00:00.000000+00:00"), ("rungs", [[1, "0" * 64]])],
)
def test_a_head_that_was_changed_after_it_was_signed_is_refused(database: Database, name: str, value: object) -> None:
    fill(database, 5)
    data = json.loads(signed(database).as_json())
    data[name] = value
    with pytest.raises(HeadTrouble, match="not as it was signed"):
        heads.read_head(json.dumps(data), name="head")


@pytest.mark.parametrize("what", ["", "[]", "{}", '{"form":"ledger head 1"}', "ledger", '{"form":"other","rungs":[]}'])
def test_what_is_no_head_is_refused_in_words(what: str) -> None:
    with pytest.raises(HeadTrouble, match="no signed head"):
        heads.read_head(what, name="head")


def test_a_head_signed_with_another_key_proves_nothing(database: Database) -> None:
    fill(database, 5)
    head = signed(database)
    with pytest.raises(HeadTrouble, match="another key"):
        compared(database, head, key=bytes(SigningKey(b"o" * 32).verify_key).hex())
    assert compared(database, head, key=None).broken is None


def test_a_head_typed_from_paper(database: Database) -> None:
    assert heads.typed(3, heads.in_groups("ab" * 32).upper()) == (3, "ab" * 32)
    for entries, digest in ((3, "ab"), (-1, "ab" * 32), (3, "xy" * 32)):
        with pytest.raises(HeadTrouble, match="64 digits"):
            heads.typed(entries, digest)


def test_the_key_is_its_owners_alone_and_is_never_made_twice(tmp_path: Path) -> None:
    path = tmp_path / "keys" / "ledger-key"
    public = heads.make_key(path)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert heads.public_half(path) == public
    with pytest.raises(HeadTrouble, match="a key already"):
        heads.make_key(path)
    assert heads.public_half(path) == public


def test_a_key_that_others_can_read_is_not_used(tmp_path: Path) -> None:
    path = tmp_path / "ledger-key"
    heads.make_key(path)
    path.chmod(0o640)
    with pytest.raises(HeadTrouble, match="others can read"):
        heads.read_key(path)


def test_without_a_key_one_is_told_how_to_make_it(tmp_path: Path) -> None:
    with pytest.raises(HeadTrouble, match="replacements ledger key"):
        heads.read_key(tmp_path / "none")
    (tmp_path / "bad").write_text("words")
    (tmp_path / "bad").chmod(0o600)
    with pytest.raises(HeadTrouble, match="no key"):
        heads.read_key(tmp_path / "bad")
