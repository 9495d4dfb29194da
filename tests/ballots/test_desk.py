"""The return desk: live, stop, or not one of ours."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from replacements.ballots import life
from replacements.ballots.desk import DeskAnswer, clean, look_up, receive
from replacements.store.database import Database
from replacements.store.tables import Ballot, Election, LedgerEntry

ELECTION = "2031-11-04-general"
AT = datetime(2031, 10, 8, 3, 0, tzinfo=UTC)  # still October 7 in the office
ZONE = "America/Los_Angeles"


def look(session: Session, number: str) -> DeskAnswer:
    return look_up(session, number, election_id=ELECTION, zone=ZONE)


def scan(session: Session, number: str) -> DeskAnswer:
    return receive(session, number, election_id=ELECTION, by="desk", at=AT, zone=ZONE)


def reissue(session: Session, number: str = "1001", original: str = "void") -> str:
    new = life.reissue(session, number=number, cause="spoiled", by="kim", at=AT, prefix="7", original=original)
    life.mark_mailed(session, numbers=[new.number], on=date(2031, 10, 7), by="mail room", at=AT)
    return new.number


def recorded(session: Session) -> list[str]:
    return list(session.scalars(select(LedgerEntry.event).order_by(LedgerEntry.seq)))


def test_a_live_ballot_is_accepted_for_checking(office: Database) -> None:
    with office.write() as session:
        answer = scan(session, "1001")
        assert (answer.verdict, answer.state, answer.voter_id) == ("live", "returned", "V1")
        assert answer.text == "Live: accept for checking."
        assert session.get_one(Ballot, "1001").returned_on == date(2031, 10, 7)
        assert recorded(session) == ["returned"]


def test_looking_up_records_nothing(office: Database) -> None:
    with office.write() as session:
        assert look(session, "1001").verdict == "live"
        assert session.get_one(Ballot, "1001").state == "issued"
        assert recorded(session) == []


@pytest.mark.parametrize("typed", [" 1001 ", "10-01", "1 0 0 1", "10–01", "1001\r\n", "１００１", "\u200b1001"])
def test_spaces_and_dashes_do_not_matter(office: Database, typed: str) -> None:
    with office.read() as session:
        assert look(session, typed).number == "1001"


def test_an_office_may_have_dashes_in_its_numbers(office: Database) -> None:
    with office.write() as session:
        session.add(Ballot(number="AB-77", election_id=ELECTION, voter_id="V9", style="A", state="issued"))
        assert look(session, " AB-77").verdict == "live"


def test_a_voided_ballot_that_comes_back_is_stopped(office: Database) -> None:
    with office.write() as session:
        new = reissue(session)
        answer = scan(session, "1001")
        assert answer.verdict == "stop"
        assert answer.text == f"Stop: voided on October 7, 2031 (spoiled), replaced by {new}."
        assert session.get_one(Ballot, "1001").state == "voided"
        assert recorded(session)[-1] == "returned_after_void"
        assert scan(session, new).verdict == "live"


def test_a_voided_ballot_scanned_twice_is_stopped_twice_and_counted_once(office: Database) -> None:
    with office.write() as session:
        reissue(session)
        assert not scan(session, "1001").seen_before
        again = scan(session, "1001")
        assert (again.verdict, again.seen_before) == ("stop", True)
        assert "scanned before" in again.text
        assert recorded(session)[-2:] == ["returned_after_void", "returned_again"]


def test_the_desk_names_the_live_ballot_at_the_end_of_a_row_of_replacements(office: Database) -> None:
    with office.write() as session:
        second = reissue(session)
        third = reissue(session, second)
        assert look(session, "1001").lines == (
            f"Stop: voided on October 7, 2031 (spoiled), replaced by {second}.",
            f"The voter's live ballot is {third}.",
        )


def test_a_live_ballot_scanned_twice_is_said(office: Database) -> None:
    with office.write() as session:
        scan(session, "1001")
        again = scan(session, "1001")
        assert (again.verdict, again.seen_before, again.state) == ("live", True, "returned")
        assert "taken in before on October 7, 2031" in again.text
        assert recorded(session) == ["returned", "returned_again"]


def test_the_desk_says_that_an_accepted_ballot_is_accepted(office: Database) -> None:
    with office.write() as session:
        scan(session, "1001")
        life.accept(session, number="1001", by="board", at=AT)
        assert "It is accepted." in look(session, "1001").lines


def test_a_ballot_voided_without_a_replacement_is_stopped(office: Database) -> None:
    with office.write() as session:
        life.void(session, number="1001", reason="voted_in_person", by="kim", at=AT)
        assert look(session, "1001").text == "Stop: voided on October 7, 2031 (voted in person)."


def test_a_cancelled_replacement_is_stopped_and_the_original_is_live(office: Database) -> None:
    with office.write() as session:
        new = life.reissue(session, number="1001", cause="lost", by="kim", at=AT, prefix="7").number
        life.take_back(session, replacement=new, reason="found", by="lee", at=AT)
        assert look(session, new).lines == (
            "Stop: voided on October 7, 2031 (cancelled).",
            "The voter's live ballot is 1001.",
        )
        assert look(session, "1001").verdict == "live"


def test_a_number_that_is_not_ours_is_recorded_as_read(office: Database) -> None:
    with office.write() as session:
        first, second = scan(session, "55-55"), scan(session, "5555")
        assert (first.verdict, first.voter_id, first.seen_before, second.seen_before) == ("unknown", None, False, True)
        assert recorded(session) == ["returned_unknown", "returned_unknown"]


@pytest.mark.parametrize("typed", ["", "  -", "9" * 60, "https://x.example/?a=1"])
def test_what_is_no_number_is_not_ours_and_is_not_kept(office: Database, typed: str) -> None:
    with office.write() as session:
        answer = scan(session, typed)
        assert (answer.verdict, answer.number) == ("unknown", "")


def test_a_ballot_of_another_election_is_not_ours(office: Database) -> None:
    with office.write() as session:
        session.add(Election(id="old", name="Old", held_on=date(2030, 1, 1), created_at=AT))
        session.flush()
        session.add(Ballot(number="888", election_id="old", voter_id="V1", style="A", state="issued"))
        answer = scan(session, "888")
        assert answer.verdict == "unknown"
        assert "another election" in answer.text


def test_a_suspended_original_that_is_back_first_is_live(office: Database) -> None:
    with office.write() as session:
        new = reissue(session, original="suspend")
        assert "is not back" in look(session, "1001").text
        answer = scan(session, "1001")
        assert (answer.verdict, answer.state) == ("live", "returned")
        assert scan(session, new).verdict == "stop"


def test_a_suspended_original_that_is_back_second_is_stopped_and_both_are_on_record(office: Database) -> None:
    with office.write() as session:
        new = reissue(session, original="suspend")
        assert scan(session, new).lines == ("Live: accept for checking.", "Its original 1001 is suspended.")
        answer = scan(session, "1001")
        assert answer.verdict == "stop"
        assert f"replaced by {new}, which came back first" in answer.text
        assert recorded(session)[-2:] == ["returned", "returned_after_void"]
        assert session.get_one(Ballot, "1001").state == "suspended"


def test_a_replacement_that_is_back_before_its_mailing_was_signed_off_is_said(office: Database) -> None:
    with office.write() as session:
        new = life.reissue(session, number="1001", cause="lost", by="kim", at=AT, prefix="7").number
        assert "tell the supervisor" in scan(session, new).text


def test_cleaning_keeps_letters_and_digits() -> None:
    assert clean(" ab-12\t3—4 ") == "AB1234"
