"""The return desk: live, stop, or not one of ours."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from replacements.ballots import life
from replacements.ballots.desk import DeskAnswer, DeskRules, brought_back, clean, look_up, receive
from replacements.ballots.numbers import with_check_digit
from replacements.store.database import Database
from replacements.store.tables import Ballot, Election, LedgerEntry, Mailing, Packet

ELECTION = "2031-11-04-general"
AT = datetime(2031, 10, 8, 3, 0, tzinfo=UTC)  # still October 7 in the office
RULES = DeskRules(zone="America/Los_Angeles")


def look(session: Session, number: str) -> DeskAnswer:
    return look_up(session, number, election_id=ELECTION, rules=RULES)


def scan(session: Session, number: str, *, by: str = "desk", at: datetime = AT, rules: DeskRules = RULES) -> DeskAnswer:
    return receive(session, number, election_id=ELECTION, by=by, at=at, rules=rules)


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


def test_a_ballot_that_is_scanned_again_on_another_day_is_said(office: Database) -> None:
    with office.write() as session:
        scan(session, "1001")
        again = scan(session, "1001", at=AT + timedelta(days=1))
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


def test_two_scans_of_one_envelope_a_moment_apart_are_told_as_such(office: Database) -> None:
    with office.write() as session:
        scan(session, "1001")
        again = scan(session, "1001", at=AT + timedelta(seconds=20))
        assert (again.kind, again.twice, again.lines[0]) == (
            "again",
            True,
            "Scanned twice: you took this ballot in a moment ago.",
        )
        assert not scan(session, "1001", by="other", at=AT + timedelta(seconds=30)).twice
        assert recorded(session) == ["returned", "returned_again", "returned_again"]


# The postal barcode. Its parts: USPS-B-3200 section 2.1 (barcode id 2 digits, service type 3, mailer id 6 or 9, serial
# number 9 or 6; routing code of 0, 5, 9 or 11 digits behind them); 777 for the way back: notices of the trade.
POSTAL = DeskRules(zone=RULES.zone, mailer_id="812345", service_type="270", prefix="7")
ROUTINGS = ("", "97301", "973010123", "97301012345")


def mailed_packet(session: Session, number: str, serial: int) -> None:
    mailing = Mailing(election_id=ELECTION, goes_on=date(2031, 10, 7), state="mailed")
    session.add(mailing)
    session.flush()
    voter = session.get_one(Ballot, number).voter_id
    session.add(
        Packet(
            id=serial,
            mailing_id=mailing.id,
            voter_id=voter,
            ballot_number=number,
            contents=["ballot"],
            state="mailed",
            queued_at=AT,
        )
    )


@pytest.mark.parametrize("routing", ROUTINGS)
def test_a_postal_barcode_leads_to_the_ballot_of_its_packet(office: Database, routing: str) -> None:
    with office.write() as session:
        new = reissue(session)
        mailed_packet(session, new, 42)
        answer = scan(session, f"00777812345000000042{routing}", rules=POSTAL)
        assert (answer.verdict, answer.number, answer.state) == ("live", new, "returned")
        assert "compare it with the number on the envelope" in answer.text
        assert json.loads(session.scalars(select(LedgerEntry.details).order_by(LedgerEntry.seq.desc())).first() or "")[
            "read"
        ] == ("postal")


def test_a_serial_number_of_six_digits_comes_round_after_a_million_packets(office: Database) -> None:
    with office.write() as session:
        new = reissue(session)
        mailed_packet(session, new, 3_000_042)
        rules = DeskRules(zone=RULES.zone, mailer_id="912345678")
        assert look_up(session, "00777912345678000042", election_id=ELECTION, rules=rules).number == new


def test_a_packet_that_went_out_is_told_from_an_envelope_that_came_back(office: Database) -> None:
    with office.write() as session:
        new = reissue(session)
        mailed_packet(session, new, 42)
        out = look_up(session, "00270812345000000042", election_id=ELECTION, rules=POSTAL)
        back = look_up(session, "00777812345000000042", election_id=ELECTION, rules=POSTAL)
        assert "barcode of the packet that went out" in out.text
        assert "went out" not in back.text


def test_a_postal_barcode_may_carry_the_ballot_s_own_number(office: Database) -> None:
    with office.read() as session:
        assert look_up(session, "00777812345000001001", election_id=ELECTION, rules=POSTAL).number == "1001"


def test_where_a_postal_barcode_may_mean_two_ballots_nobody_chooses(office: Database) -> None:
    with office.write() as session:
        mailed_packet(session, "1002", 1001)
        answer = scan(session, "00777812345000001001", rules=POSTAL)
        assert (answer.verdict, answer.kind, answer.voter_id) == ("unknown", "misread", None)
        assert "several ballots" in answer.text
        assert session.get_one(Ballot, "1001").state == session.get_one(Ballot, "1002").state == "issued"


def test_another_mailer_s_barcode_is_not_ours(office: Database) -> None:
    with office.read() as session:
        for rules, said in ((POSTAL, "another mailer's"), (RULES, "name no mailer id")):
            answer = look_up(session, "00777800000000001001", election_id=ELECTION, rules=rules)
            assert (answer.verdict, answer.voter_id) == ("unknown", None)
            assert said in answer.text


@pytest.mark.parametrize("digits", ["0077781234500000004", "007778123450000000421", "05777812345000000042"])
def test_digits_that_are_no_whole_postal_barcode_are_never_a_ballot(office: Database, digits: str) -> None:
    """19 digits, 21 digits, and a barcode id whose second digit is above 4."""
    with office.write() as session:
        mailed_packet(session, "1001", 42)
        assert scan(session, digits, rules=POSTAL).verdict == "unknown"


# Check digits by H. Michael Damm, as computed by python-stdnum: 80000019 is whole, 80000018 is not.
def test_a_number_in_the_form_of_our_replacements_with_a_wrong_check_digit_is_mistyped(office: Database) -> None:
    with office.write() as session:
        rules = DeskRules(prefix="8")
        answer = scan(session, "80000018", rules=rules)
        assert (answer.verdict, answer.kind) == ("unknown", "misread")
        assert answer.lines[0].startswith("Mistyped or misread")
        assert recorded(session) == ["returned_misread"]
        assert scan(session, "80000019", rules=rules).kind == "unknown"  # well formed, and none of ours


def test_where_the_office_s_own_numbers_carry_check_digits_a_wrong_one_is_mistyped(office: Database) -> None:
    with office.write() as session:
        for place in range(30):
            number = with_check_digit(f"41{place:04d}")
            session.add(Ballot(number=number, election_id=ELECTION, voter_id=f"W{place}", style="A", state="issued"))
        right = with_check_digit("410007")
        wrong = right[:-1] + str((int(right[-1]) + 1) % 10)
        swapped = right[:4] + right[5] + right[4] + right[6]
        assert look(session, right).kind == "live"
        assert look(session, wrong).kind == look(session, swapped).kind == "misread"
        assert look(session, "1009").kind == "unknown"  # numbers of four digits carry none here


def test_both_came_back_and_the_rule_says_which_counts(office: Database) -> None:
    with office.write() as session:
        new = reissue(session)
        scan(session, "1001")
        assert "1001 came back too, and was stopped: this one counts" in scan(session, new).text
        assert f"Both came back: {new} on October 7, 2031, which counts" in look(session, "1001").text


def test_a_number_scanned_while_the_line_was_down_says_when_the_day_is_another(office: Database) -> None:
    with office.write() as session:
        before = AT - timedelta(days=1)
        answer = receive(session, "1001", election_id=ELECTION, by="desk", at=AT, scanned_at=before, rules=RULES)
        assert "Scanned on October 6, 2031, recorded on October 7, 2031" in answer.text
        entry = session.scalars(select(LedgerEntry)).one()
        assert json.loads(entry.details)["scanned_at"] == before.isoformat()
        assert session.get_one(Ballot, "1001").returned_on == date(2031, 10, 7)


def bring_back(session: Session, number: str, reason: str = "no such number") -> DeskAnswer:
    return brought_back(session, number, election_id=ELECTION, by="desk", at=AT, reason=reason, rules=RULES)


def test_what_the_post_brings_back_is_recorded_with_its_reason_and_stays_live(office: Database) -> None:
    with office.write() as session:
        answer = bring_back(session, "1001")
        assert (answer.kind, answer.state) == ("brought_back", "undeliverable")
        entry = session.scalars(select(LedgerEntry)).one()
        assert (entry.event, json.loads(entry.details)["post_reason"]) == ("undeliverable", "no such number")
        assert scan(session, "1001").verdict == "live"


def test_a_packet_brought_back_changes_no_ballot_that_is_void_or_back(office: Database) -> None:
    with office.write() as session:
        reissue(session)
        scan(session, "1002")
        assert [bring_back(session, number).verdict for number in ("1001", "1002", "777")] == [
            "stop",
            "stop",
            "unknown",
        ]
        assert "cannot be back unopened as well" in bring_back(session, "1002").text
        assert session.get_one(Ballot, "1001").state == "voided"
        assert session.get_one(Ballot, "1002").state == "returned"
        assert recorded(session)[-4:] == ["brought_back"] * 4


def test_with_several_elections_open_an_answer_names_its_own(office: Database) -> None:
    with office.write() as session:
        session.add(Election(id="city", name="City election", held_on=date(2031, 11, 18), created_at=AT))
        session.flush()
        session.add(Ballot(number="888", election_id="city", voter_id="V1", style="A", state="issued"))
        both = DeskRules(zone=RULES.zone, also_open=("city",))
        answer = scan(session, "888", rules=both)
        assert (answer.verdict, answer.lines[-1]) == ("live", "Election: City election, November 18, 2031.")
        assert "Election:" not in scan(session, "1001").text
        assert session.scalars(select(LedgerEntry).order_by(LedgerEntry.seq)).first().election_id == "city"  # type: ignore[union-attr]
