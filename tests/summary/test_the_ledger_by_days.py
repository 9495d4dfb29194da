"""The ledger added up by days says what the ledger says, whenever and however often it is added up."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

from sqlalchemy import func, select

from replacements.store.database import Database
from replacements.store.tables import LedgerDay, LedgerDaysUpTo
from replacements.summary.ledger_days import Days, Tally, entries_behind, read_days, roll_forward
from replacements.summary.places import where_ballots_are
from tests.summary.conftest import ELECTION, ZONE

UNTIL = date(2031, 12, 31)
AT = datetime(2031, 10, 7, 15, tzinfo=UTC)


def _days(database: Database, zone: str = ZONE, since: date = date(2031, 1, 1)) -> Days:
    with database.read() as session:
        return read_days(session, ELECTION, zone, since=since, until=UNTIL)


def _issue_and_replace(records: Any, number: int) -> None:
    records.ballot(f"{number}", f"V{number}", state="voided")
    records.ballot(f"9{number}", f"V{number}", replaces=f"{number}")
    records.event("imported", AT, f"{number}", '{"state":"issued","style":"A"}')
    records.event("voided", AT, f"{number}", '{"from":"issued","reason":"spoiled","style":"A"}')
    records.event("reissued", AT, f"9{number}", '{"reason":"spoiled","style":"A"}')


def test_what_is_added_up_in_pieces_is_what_is_read_at_once(records: Any, election: Database) -> None:
    for number in range(1, 4):
        _issue_and_replace(records, number)
        records.done()
        whole = _days(election).sums
        assert roll_forward(election, ELECTION, ZONE) == 3
        assert _days(election).sums == whole
    assert roll_forward(election, ELECTION, ZONE) == 0
    tally = _days(election).tally()
    assert tally == Tally(issued=6, out=3, voided=3, reissued=3, spoiled=3, voids=3)


def test_days_before_the_first_come_as_one(records: Any, election: Database) -> None:
    _issue_and_replace(records, 1)
    records.done()
    roll_forward(election, ELECTION, ZONE)
    late = _days(election, since=date(2031, 11, 1))
    assert {key.day for key in late.sums} == {date(2031, 10, 31)}
    assert late.tally() == _days(election).tally()


def test_another_time_zone_begins_anew(records: Any, election: Database) -> None:
    _issue_and_replace(records, 1)
    records.done()
    roll_forward(election, ELECTION, ZONE)
    tokyo = _days(election, "Asia/Tokyo").sums  # the sums in the table are of no use: read from the ledger
    assert {key.day for key in tokyo} == {date(2031, 10, 8)}
    assert roll_forward(election, ELECTION, "Asia/Tokyo") == 3
    assert _days(election, "Asia/Tokyo").sums == tokyo
    with election.read() as session:
        assert session.scalars(select(LedgerDaysUpTo.zone)).all() == ["Asia/Tokyo"]
        assert session.scalar(select(func.count()).select_from(LedgerDay).where(LedgerDay.day < date(2031, 10, 8))) == 0


def test_how_far_behind_the_sums_are_is_known(records: Any, election: Database) -> None:
    _issue_and_replace(records, 1)
    records.done()
    with election.read() as session:
        assert entries_behind(session, ELECTION, ZONE) == 3
    roll_forward(election, ELECTION, ZONE)
    with election.read() as session:
        assert entries_behind(session, ELECTION, ZONE) == 0
        assert entries_behind(session, ELECTION, "Asia/Tokyo") == 3


def test_the_places_of_all_ballots_agree_until_the_table_says_otherwise(records: Any, election: Database) -> None:
    _issue_and_replace(records, 1)
    records.done()
    with election.read() as session:
        places = where_ballots_are(session, ELECTION, ZONE)
    assert (places.agrees, places.ballots, places.total.out, places.total.voided) == (True, 2, 1, 1)
    records.ballot("5", "V5")  # no entry of the ledger issued it
    records.done()
    with election.read() as session:
        assert not where_ballots_are(session, ELECTION, ZONE).agrees


def test_a_scan_that_is_undone_is_taken_back_from_the_sums(records: Any, election: Database) -> None:
    records.ballot("1", "V1")
    records.event("imported", AT, "1", '{"state":"issued","style":"A"}')
    records.event("undeliverable", AT, "1", '{"from":"issued","style":"A"}')
    records.event("return_undone", AT, "1", '{"from":"undeliverable","style":"A","to":"issued"}')
    records.event("returned", AT, "1", '{"from":"issued","style":"A"}')
    records.event("return_undone", AT, "1", '{"from":"returned","style":"A","to":"issued"}')
    records.done()
    tally = _days(election).tally()
    assert (tally.brought_back, tally.received, tally.out) == (0, 0, 1)
