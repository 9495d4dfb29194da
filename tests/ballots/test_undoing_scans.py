"""A scan that was a mistake is undone with its reason, and never more than that scan did."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta

import pytest
from sqlalchemy import select

from replacements.ballots import desk_list, handover, ledger, life
from replacements.ballots.life import NotPossible
from replacements.ballots.reconciling import reconcile
from replacements.ballots.undoing import undo
from replacements.store.database import Database
from replacements.store.tables import Ballot, DeskScan, LedgerEntry, Mailing, Packet
from tests.ballots.conftest import ELECTION

AT = datetime(2031, 10, 7, 15, 0, tzinfo=UTC)


@pytest.fixture
def counted(office: Database) -> Database:
    """The office, its ballots on the ledger."""
    with office.write() as session:
        for place in (1, 2, 3):
            ledger.append(
                session,
                event="imported",
                election_id=ELECTION,
                by="import",
                at=AT,
                ballot_number=f"{1000 + place}",
                voter_id=f"V{place}",
                details={"state": "issued", "style": "A"},
            )
    return office


def scan(database: Database, number: str, key: str = "", post_reason: str = "") -> DeskScan:
    return desk_list.take(
        database, number, key=key or number, election_id=ELECTION, by="desk", at=AT, post_reason=post_reason
    )


def undone(database: Database, scan: DeskScan, reason: str = "another envelope was in hand") -> str:
    return desk_list.undo(database, scan.id, reason=reason, by="desk", at=AT + timedelta(minutes=1))


def state(database: Database, number: str) -> str:
    with database.read() as session:
        return session.get_one(Ballot, number).state


def books_agree(database: Database) -> bool:
    with database.read() as session:
        return reconcile(session, ELECTION).agrees and ledger.verify(session).broken is None


def test_a_ballot_taken_in_by_mistake_is_out_again_with_the_reason_on_record(counted: Database) -> None:
    taken = scan(counted, "1001")
    assert undone(counted, taken) == "1001"
    with counted.read() as session:
        ballot = session.get_one(Ballot, "1001")
        assert (ballot.state, ballot.returned_on) == ("issued", None)
        entry = session.scalars(select(LedgerEntry).where(LedgerEntry.event == "return_undone")).one()
        details = json.loads(entry.details)
        assert (details["note"], details["from"], details["to"]) == (
            "another envelope was in hand",
            "returned",
            "issued",
        )
        assert details["undone"] == taken.ledger_seq
    assert books_agree(counted)
    assert scan(counted, "1001", key="again").answer["kind"] == "live"
    assert books_agree(counted)


@pytest.mark.parametrize("reason", ["", "  \n"])
def test_without_a_reason_nothing_is_undone(counted: Database, reason: str) -> None:
    taken = scan(counted, "1001")
    with pytest.raises(ValueError, match="why"):
        undone(counted, taken, reason)
    assert state(counted, "1001") == "returned"


def test_a_scan_is_undone_once(counted: Database) -> None:
    taken = scan(counted, "1001")
    undone(counted, taken)
    with pytest.raises(NotPossible, match="before"):
        undone(counted, taken)
    with counted.write() as session, pytest.raises(NotPossible, match="undone before"):
        undo(session, session.get_one(LedgerEntry, taken.ledger_seq), reason="again", by="desk", at=AT)


def test_a_ballot_that_was_checked_since_is_not_undone(counted: Database) -> None:
    taken = scan(counted, "1001")
    with counted.write() as session:
        life.challenge(session, number="1001", reason="signature", by="board", at=AT)
        life.cure(session, number="1001", by="board", at=AT)
    with pytest.raises(NotPossible, match="a supervisor must look at it"):
        undone(counted, taken)
    assert state(counted, "1001") == "returned"


def test_a_return_is_undone_although_it_was_scanned_again(counted: Database) -> None:
    taken = scan(counted, "1001")
    scan(counted, "1001", key="second")
    undone(counted, taken)
    assert state(counted, "1001") == "issued"


def test_a_stop_that_was_a_mistake_is_forgotten_by_later_answers(counted: Database) -> None:
    with counted.write() as session:
        new = life.reissue(session, number="1001", cause="spoiled", by="kim", at=AT, prefix="7").number
    stop = scan(counted, "1001")
    assert stop.answer["kind"] == "stop"
    undone(counted, stop)
    assert not scan(counted, "1001", key="really").answer["seen_before"]
    with counted.write() as session:  # and the one that stood brings the original back as returned
        assert life.take_back(session, replacement=new, reason="found", by="lee", at=AT).state == "returned"
    assert books_agree(counted)


def test_a_stop_undone_and_a_reissue_taken_back_leave_the_original_out(counted: Database) -> None:
    with counted.write() as session:
        new = life.reissue(session, number="1001", cause="spoiled", by="kim", at=AT, prefix="7").number
    undone(counted, scan(counted, "1001"))
    with counted.write() as session:
        assert life.take_back(session, replacement=new, reason="found", by="lee", at=AT).state == "issued"


def test_undoing_the_second_scan_of_a_void_ballot_does_not_undo_the_first(counted: Database) -> None:
    with counted.write() as session:
        new = life.reissue(session, number="1001", cause="spoiled", by="kim", at=AT, prefix="7").number
    scan(counted, "1001")
    undone(counted, scan(counted, "1001", key="second"))
    with counted.write() as session:
        assert life.take_back(session, replacement=new, reason="found", by="lee", at=AT).state == "returned"


def test_undoing_the_return_of_a_suspended_original_gives_the_replacement_its_life_back(counted: Database) -> None:
    with counted.write() as session:
        new = life.reissue(session, number="1001", cause="lost", by="kim", at=AT, prefix="7", original="suspend").number
        life.mark_mailed(session, numbers=[new], on=date(2031, 10, 7), by="mail room", at=AT)
    taken = scan(counted, "1001")
    assert (state(counted, "1001"), state(counted, new)) == ("returned", "voided")
    undone(counted, taken)
    assert (state(counted, "1001"), state(counted, new)) == ("suspended", "issued")
    assert books_agree(counted)
    with counted.write() as session:
        rows = handover.hand_over(session, ELECTION, by="schedule", at=AT).text
    assert f"{new},V1,return_undone,return of the original undone" in rows
    assert "\n1001,V1,return_undone" not in rows
    scan(counted, new)
    assert books_agree(counted)


def test_where_the_replacement_s_packet_was_pulled_a_supervisor_must_look(counted: Database) -> None:
    with counted.write() as session:
        new = life.reissue(session, number="1001", cause="lost", by="kim", at=AT, prefix="7", original="suspend").number
        mailing = Mailing(election_id=ELECTION, goes_on=date(2031, 10, 8), state="open")
        session.add(mailing)
        session.flush()
        session.add(Packet(mailing_id=mailing.id, voter_id="V1", ballot_number=new, contents=[], queued_at=AT))
    taken = scan(counted, "1001")
    with pytest.raises(NotPossible, match="a supervisor must look at it"):
        undone(counted, taken)
    assert (state(counted, "1001"), state(counted, new)) == ("returned", "voided")
    assert books_agree(counted)


def test_a_packet_recorded_as_brought_back_by_mistake_is_out_again(counted: Database) -> None:
    brought = scan(counted, "1001", post_reason="vacant")
    assert state(counted, "1001") == "undeliverable"
    undone(counted, brought)
    assert state(counted, "1001") == "issued"
    assert books_agree(counted)


def test_a_number_that_was_not_ours_is_undone_too(counted: Database) -> None:
    undone(counted, scan(counted, "4711"))
    with counted.read() as session:
        entry = session.scalars(select(LedgerEntry).order_by(LedgerEntry.seq.desc())).first()
        assert entry is not None
        assert (entry.event, json.loads(entry.details)["number"]) == ("scan_undone", "4711")


def test_what_is_no_scan_cannot_be_undone_here(counted: Database) -> None:
    with counted.write() as session, pytest.raises(NotPossible, match="no scan"):
        undo(session, session.get_one(LedgerEntry, 1), reason="why not", by="desk", at=AT)


def test_a_scan_that_is_sent_twice_is_recorded_once(counted: Database) -> None:
    first, second = scan(counted, "1001", key="a"), scan(counted, "1001", key="a")
    assert (first.id, first.answer) == (second.id, second.answer)
    with counted.read() as session:
        assert len(session.scalars(select(LedgerEntry).where(LedgerEntry.event.startswith("returned"))).all()) == 1


def test_the_same_key_of_another_account_is_another_scan(counted: Database) -> None:
    scan(counted, "1001", key="a")
    other = desk_list.take(counted, "1002", key="a", election_id=ELECTION, by="rita", at=AT)
    assert other.answer["number"] == "1002"


def test_the_answers_of_a_list_add_up_to_its_numbers(counted: Database) -> None:
    with counted.write() as session:
        life.reissue(session, number="1002", cause="spoiled", by="kim", at=AT, prefix="7")
    typed = ["1001", "1001", "1002", "1003", "4711", "1" * 22]
    for place, number in enumerate(typed, 1):
        desk_list.take(
            counted, number, key=f"l/{place}", election_id=ELECTION, by="desk", at=AT, list_key="l", place=place
        )
    with counted.read() as session:
        scans = desk_list.of_list(session, "desk", "l")
        assert [s.place for s in scans] == [1, 2, 3, 4, 5, 6]
        found = desk_list.counts(scans)
    assert found == {"live": 2, "again": 1, "stop": 1, "brought_back": 0, "unknown": 1, "misread": 1}
    assert sum(found.values()) == len(typed)
