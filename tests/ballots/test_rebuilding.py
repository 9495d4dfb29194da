"""Every state from the ledger alone, and what cannot have happened named by its entry."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from sqlalchemy import text

from replacements.ballots import life
from replacements.ballots.desk import receive
from replacements.ballots.importing import import_ballots
from replacements.ballots.ledger import append
from replacements.ballots.rebuilding import Rebuilt, compare, rebuild
from replacements.store.database import Database
from replacements.store.tables import Election

ELECTION = "2031-11-04-general"
AT = datetime(2031, 10, 7, 15, 0, tzinfo=UTC)
TODAY = date(2031, 10, 7)
HEADING = "ballot_number,voter_id,style,state,mailed_on,returned_on,replaces,void_reason\n"


@pytest.fixture
def load(database: Database, tmp_path: Path) -> Callable[[str], None]:
    with database.write() as session:
        session.add(Election(id=ELECTION, name="General election", held_on=date(2031, 11, 4), created_at=AT))

    def load(lines: str) -> None:
        path = tmp_path / "ballots.csv"
        path.write_text(HEADING + lines, encoding="utf-8")
        with database.write() as session:
            import_ballots(session, path, election_id=ELECTION, at=AT)

    return load


def looked(database: Database) -> tuple[Rebuilt, list[tuple[str, str]]]:
    with database.read() as session:
        rebuilt = rebuild(session, ELECTION)
        return rebuilt, [(one.number, one.text) for one in compare(session, ELECTION, rebuilt)]


def test_states_days_and_reasons_come_from_the_ledger_alone(database: Database, load: Callable[[str], None]) -> None:
    load(
        "1,V1,A,issued,2031-09-22,,,\n2,V2,B,voided,2031-09-22,,,wrong_style\n3,V2,B,returned,2031-09-23,2031-10-01,2,\n"
    )
    with database.write() as session:
        new = life.reissue(session, number="1", cause="spoiled", by="kim", at=AT, prefix="7").number
        receive(session, "1", election_id=ELECTION, by="desk", at=AT)
        life.take_back(session, replacement=new, reason="found", by="lee", at=AT)
        life.challenge(session, number="3", reason="no signature", by="kim", at=AT)
    load(
        "1,V1,A,returned,2031-09-24,2031-10-07,,\n2,V2,B,voided,2031-09-22,,,lost\n3,V2,B,returned,2031-09-23,2031-10-01,2,\n"
    )
    rebuilt, differs = looked(database)
    assert (rebuilt.wrong, differs) == ((), [])
    first, second = rebuilt.ballots["1"], rebuilt.ballots["2"]
    assert (first.state, first.mailed_on, first.returned_on) == ("returned", date(2031, 9, 24), TODAY)
    assert (second.void_reason, rebuilt.ballots["3"].state) == ("lost", "challenged")
    assert rebuilt.ballots[new].void_reason == "cancelled"


def test_days_that_an_older_entry_does_not_say_are_not_held_against_the_table(
    database: Database, load: Callable[[str], None]
) -> None:
    load("1,V1,A,issued,2031-09-22,,,\n")
    with database.engine.begin() as connection:
        on = "" if database.is_sqlite else " ON ledger"
        connection.execute(text(f"DROP TRIGGER ledger_no_{'update' if database.is_sqlite else 'change'}{on}"))
        connection.execute(text('UPDATE ledger SET details = \'{"state":"issued","style":"A"}\''))
    assert looked(database)[1] == []


@pytest.mark.parametrize(
    ("column", "value", "told"),
    [
        ("state", "voided", "state: voided on record, issued by the ledger (entry 1)"),
        ("style", "B", "style: B on record, A by the ledger (entry 1)"),
        ("mailed_on", "2031-09-30", "mailed on: 2031-09-30 on record, 2031-09-22 by the ledger (entry 1)"),
        ("returned_on", "2031-09-30", "returned on: 2031-09-30 on record, none by the ledger (entry 1)"),
        ("void_reason", "lost", "void reason: lost on record, none by the ledger (entry 1)"),
    ],
)
def test_what_was_changed_without_an_event_is_named_field_by_field(
    database: Database, load: Callable[[str], None], column: str, value: str, told: str
) -> None:
    load("1,V1,A,issued,2031-09-22,,,\n")
    with database.engine.begin() as connection:
        connection.execute(text(f"UPDATE ballots SET {column} = '{value}' WHERE number = '1'"))
    assert looked(database)[1] == [("1", told)]


@pytest.mark.parametrize(
    ("event", "number", "voter", "details", "told"),
    [
        ("accepted", "1", "V1", {"from": "issued"}, "accepted while it was issued"),
        ("accepted", "1", "V1", {"from": "returned"}, "accepted while it was issued, though the entry says returned"),
        ("cured", "1", "V1", {"from": "issued"}, "cured while it was issued"),
        ("returned", "1", "V9", {"from": "issued", "on": "2031-10-07"}, "about another voter"),
        ("returned", "9", "V1", {"from": "issued", "on": "2031-10-07"}, "before any entry issued it"),
        ("imported", "1", "V1", {"state": "issued", "style": "A"}, "issued a second time, after entry 1"),
        ("imported", "9", "V1", {"state": "issued", "style": "A"}, "live by the ledger beside 1"),
        ("imported", "9", "V9", {"state": "spent", "style": "A"}, "a state that no ballot has"),
        ("reissued", "9", "V1", {"style": "A", "replaces": "1"}, "which is issued and was not ended by it"),
        ("reissued", "9", "V1", {"style": "A", "replaces": "8"}, "which no entry issued"),
        ("reissued", "9", "V9", {"style": "A", "replaces": "1"}, "which is another voter's"),
        ("mailed", "1", "V1", {"on": "2031-10-07"}, "mailed while it was issued, a second time"),
        ("reinstated", "1", "V1", {"from": "issued", "to": "issued", "instead_of": "8"}, "reinstated while it was"),
        ("reinstated", "1", "V1", {"from": "voided", "to": "issued", "instead_of": "8"}, "which was not taken back"),
        ("import_changed", "1", "V1", {"from": "voided", "state": "issued", "style": "A"}, "changed by an import"),
        ("returned_again", "1", "V1", {"state": "returned"}, "seen at the desk as returned while it was issued"),
        ("return_undone", "1", "V1", {"from": "returned", "to": "issued"}, "a return undone while it was issued"),
        ("accepted", "1", "V1", {}, "the details of 'accepted' cannot be read"),
        ("returned", "1", "V1", {"from": "issued", "on": "soon"}, "the details of 'returned' cannot be read"),
    ],
)  # fmt: skip
def test_an_entry_that_cannot_be_where_it_stands_is_named(
    database: Database,
    load: Callable[[str], None],
    event: str,
    number: str,
    voter: str,
    details: dict[str, str],
    told: str,
) -> None:
    load("1,V1,A,issued,2031-09-22,,,\n")
    with database.write() as session:
        append(
            session, event=event, election_id=ELECTION, by="sam", at=AT, ballot_number=number, voter_id=voter,
            details=details,
        )  # fmt: skip
    wrong = looked(database)[0].wrong
    assert wrong
    assert wrong[0].seq == 2
    assert any(told in one.text for one in wrong), wrong
