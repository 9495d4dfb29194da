"""What is edited straight in the database file is found, and named to the entry or the ballot."""

from __future__ import annotations

from pathlib import Path

from replacements.ballots.examining import examine
from replacements.store.database import Database
from tests.faults.tampering import EDITS, tamper, whole_office


def test_every_kind_of_edit_is_found_and_named(tmp_path: Path) -> None:
    assert tamper(tmp_path, edits=len(EDITS) * 6, seed=3, voters=40, operations=90) == []


def test_nothing_is_found_where_nothing_was_edited(tmp_path: Path) -> None:
    path, head = whole_office(tmp_path, voters=40, operations=90, seed=4)
    database = Database(str(path))
    with database.read() as session:
        assert examine(session, signed=[head], key=head.key).trouble == ()
    database.close()
