"""Voids and reissues handed back to the office's own system."""

from __future__ import annotations

import csv
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import text

from replacements.ballots import life
from replacements.ballots.handover import HandOver, NoSuchHandOver, hand_over, repeat
from replacements.ballots.ledger import append, verify
from replacements.store.database import Database

ELECTION = "2031-11-04-general"
AT = datetime(2031, 10, 7, 15, 0, tzinfo=UTC)


def reissue(database: Database, number: str, cause: str = "spoiled", at: datetime = AT) -> str:
    with database.write() as session:
        return life.reissue(session, number=number, cause=cause, by="kim", at=at, prefix="7").number


def hand(database: Database, since: datetime | None = None) -> HandOver:
    with database.write() as session:
        return hand_over(session, ELECTION, by="lee", at=AT, since=since)


def rows(made: HandOver) -> list[list[str]]:
    return list(csv.reader(made.text.splitlines()))[1:]


def test_a_void_and_its_reissue_are_handed_over_once(office: Database) -> None:
    new = reissue(office, "1001")
    first = hand(office)
    assert first.text.splitlines()[0] == "ballot_number,voter_id,event,reason,replaced_by,at,by"
    assert rows(first) == [
        ["1001", "V1", "voided", "spoiled", new, "2031-10-07T15:00:00.000000+00:00", "kim"],
        [new, "V1", "reissued", "spoiled", "", "2031-10-07T15:00:00.000000+00:00", "kim"],
    ]
    assert (first.number, first.events, first.file_name) == (1, 2, "handover-00001.csv")
    assert (hand(office).number, hand(office).events) == (2, 0)
    reissue(office, "1002")
    assert rows(hand(office))[0][0] == "1002"


def test_a_reissue_taken_back_is_handed_over_too(office: Database) -> None:
    new = reissue(office, "1001")
    hand(office)
    with office.write() as session:
        life.take_back(session, replacement=new, reason="secret words of a voter", by="lee", at=AT)
    assert [row[:4] for row in rows(hand(office))] == [
        [new, "V1", "voided", "cancelled"],
        ["1001", "V1", "reinstated", "replacement cancelled"],
    ]


def test_what_the_desk_and_the_import_record_is_not_handed_over(office: Database) -> None:
    with office.write() as session:
        life.take_in(session, number="1001", on=AT.date(), by="desk", at=AT)
        append(session, event="imported", election_id=ELECTION, by="import", at=AT, ballot_number="9")
    assert hand(office).events == 0


def test_a_hand_over_can_be_made_again_byte_for_byte(office: Database) -> None:
    reissue(office, "1001")
    first = hand(office)
    reissue(office, "1002")
    hand(office)
    with office.read() as session:
        assert repeat(session, ELECTION, 1) == first
        with pytest.raises(NoSuchHandOver, match="no hand-over 3"):
            repeat(session, ELECTION, 3)


def test_a_hand_over_that_can_no_longer_be_the_same_is_refused(office: Database) -> None:
    reissue(office, "1001")
    hand(office)
    with office.engine.begin() as connection:
        on = "" if office.is_sqlite else " ON ledger"
        connection.execute(text(f"DROP TRIGGER ledger_no_{'update' if office.is_sqlite else 'change'}{on}"))
        connection.execute(text("UPDATE ledger SET by = 'sam' WHERE seq = 1"))
    with office.read() as session, pytest.raises(NoSuchHandOver, match="verify the ledger"):
        repeat(session, ELECTION, 1)


def test_since_a_time_begins_there_again(office: Database) -> None:
    reissue(office, "1001")
    reissue(office, "1002", at=AT + timedelta(hours=2))
    hand(office)
    again = hand(office, since=AT + timedelta(hours=1))
    assert (again.number, again.events, rows(again)[0][0]) == (2, 2, "1002")
    assert hand(office, since=AT + timedelta(days=1)).events == 0
    assert hand(office).events == 0


def test_a_hand_over_is_an_anchor_for_the_ledger(office: Database) -> None:
    reissue(office, "1001")
    made = hand(office)
    with office.read() as session:
        assert verify(session, anchor=(made.last, made.head)).broken is None
        broken = verify(session, anchor=(made.last, "0" * 64)).broken
        assert broken is not None
        assert broken.how == "changed"


def test_a_cell_that_a_spreadsheet_would_calculate_is_neutralised(office: Database) -> None:
    reissue(office, "1001", cause='=HYPERLINK("x")')
    assert rows(hand(office))[0][3] == '\'=HYPERLINK("x")'
