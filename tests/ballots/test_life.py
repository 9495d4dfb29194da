"""A ballot's life: what may happen to it, in which state, and what is on record afterwards."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, date, datetime

import pytest
from sqlalchemy import select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from replacements.ballots import life
from replacements.ballots.desk import receive
from replacements.ballots.ledger import verify
from replacements.ballots.life import ALLOWED, NotPossible
from replacements.ballots.numbers import has_check_digit
from replacements.store.database import Database
from replacements.store.tables import BALLOT_STATES, Ballot, LedgerEntry, Mailing, Packet, VoterRow

ELECTION = "2031-11-04-general"
AT = datetime(2031, 10, 7, 15, 0, tzinfo=UTC)
TODAY = date(2031, 10, 7)


def reissue(session: Session, number: str, original: str = "void") -> Ballot:
    return life.reissue(session, number=number, cause="spoiled", by="kim", at=AT, prefix="7", original=original)


def events(session: Session, number: str) -> list[str]:
    rows = select(LedgerEntry.event).where(LedgerEntry.ballot_number == number).order_by(LedgerEntry.seq)
    return list(session.scalars(rows))


def queue(session: Session, number: str, state: str = "queued") -> Packet:
    mailing = Mailing(election_id=ELECTION, goes_on=TODAY)
    session.add(mailing)
    session.flush()
    packet = Packet(mailing_id=mailing.id, voter_id="V1", ballot_number=number, contents=[], queued_at=AT, state=state)
    session.add(packet)
    session.flush()
    return packet


def test_a_reissue_voids_the_old_ballot_and_issues_one_that_points_to_it(office: Database) -> None:
    with office.write() as session:
        new = reissue(session, "1001")
    with office.read() as session:
        old = session.get_one(Ballot, "1001")
        assert (old.state, old.void_reason) == ("voided", "spoiled")
        new = session.get_one(Ballot, new.number)
        assert (new.state, new.replaces, new.voter_id, new.mailed_on) == ("issued", "1001", "V1", None)
        assert new.number.startswith("7")
        assert has_check_digit(new.number)
        assert (events(session, "1001"), events(session, new.number)) == (["voided"], ["reissued"])
        details = json.loads(session.scalars(select(LedgerEntry.details).where(LedgerEntry.seq == 1)).one())
        assert details == {"from": "issued", "reason": "spoiled", "replaced_by": new.number, "style": "A"}
        assert verify(session).broken is None


def test_the_replacement_has_the_style_of_the_voter_as_of_now(office: Database) -> None:
    with office.write() as session:
        session.get_one(VoterRow, "V1").style = "B"
    with office.write() as session:
        assert reissue(session, "1001").style == "B"
        assert life.reissue(session, number="1002", cause="lost", by="kim", at=AT, prefix="7", style="C").style == "C"


def test_a_voter_who_left_the_roll_keeps_the_old_style(office: Database) -> None:
    with office.write() as session:
        session.delete(session.get_one(VoterRow, "V1"))
        session.flush()
        assert reissue(session, "1001").style == "A"


def test_a_failed_decision_leaves_both_ballots_as_they_were(office: Database) -> None:
    def decide_half() -> None:
        with office.write() as session:
            reissue(session, "1001")
            raise RuntimeError("the power went out")

    with pytest.raises(RuntimeError):
        decide_half()
    with office.read() as session:
        assert session.get_one(Ballot, "1001").state == "issued"
        assert verify(session).entries == 0


def test_a_ballot_that_has_come_back_cannot_be_replaced_and_the_text_says_when_it_came(office: Database) -> None:
    with office.write() as session:
        life.take_in(session, number="1001", on=TODAY, by="desk", at=AT)
        with pytest.raises(NotPossible, match=r"Ballot 1001 came back on October 7, 2031: it cannot be replaced\."):
            reissue(session, "1001")


def test_a_reissue_is_taken_back_while_its_packet_waits(office: Database) -> None:
    with office.write() as session:
        new = reissue(session, "1001")
        queue(session, new.number)
    with office.write() as session:
        life.take_back(session, replacement=new.number, reason="the voter found the ballot", by="lee", at=AT)
    with office.read() as session:
        old = session.get_one(Ballot, "1001")
        assert (old.state, old.void_reason) == ("issued", None)
        cancelled = session.get_one(Ballot, new.number)
        assert (cancelled.state, cancelled.void_reason) == ("voided", "cancelled")
        assert events(session, "1001") == ["voided", "reinstated"]
        last = session.scalars(select(LedgerEntry.details).order_by(LedgerEntry.seq.desc()).limit(1)).one()
        assert json.loads(last)["note"] == "the voter found the ballot"


def test_an_undeliverable_ballot_is_undeliverable_again_after_its_reissue_is_taken_back(office: Database) -> None:
    with office.write() as session:
        life.mark_undeliverable(session, number="1001", by="desk", at=AT)
        new = reissue(session, "1001", "suspend")
        assert life.take_back(session, replacement=new.number, reason="x", by="lee", at=AT).state == "undeliverable"


def test_a_ballot_may_be_replaced_anew_after_a_reissue_was_taken_back_and_gets_another_number(office: Database) -> None:
    with office.write() as session:
        first = reissue(session, "1001")
        life.take_back(session, replacement=first.number, reason="mistake", by="lee", at=AT)
        second = reissue(session, "1001")
        assert second.number != first.number


@pytest.mark.parametrize("state", ["frozen", "mailed"])
def test_a_reissue_whose_packet_is_in_a_closed_mailing_is_final(office: Database, state: str) -> None:
    with office.write() as session:
        new = reissue(session, "1001")
        queue(session, new.number, state)
        with pytest.raises(NotPossible, match="closed mailing"):
            life.take_back(session, replacement=new.number, reason="x", by="lee", at=AT)


def test_a_mailed_replacement_cannot_be_taken_back_even_without_a_packet_on_record(office: Database) -> None:
    with office.write() as session:
        new = reissue(session, "1001")
        life.mark_mailed(session, numbers=[new.number], on=TODAY, by="mail room", at=AT)
        with pytest.raises(NotPossible, match="closed mailing"):
            life.take_back(session, replacement=new.number, reason="x", by="lee", at=AT)


def test_an_original_that_came_back_while_it_was_void_is_reinstated_as_returned(office: Database) -> None:
    with office.write() as session:
        new = reissue(session, "1001")
        receive(session, "1001", election_id=ELECTION, by="desk", at=AT, on=TODAY)
        old = life.take_back(session, replacement=new.number, reason="it is here", by="lee", at=AT)
        assert (old.state, old.returned_on) == ("returned", TODAY)
        with pytest.raises(NotPossible, match="came back"):
            reissue(session, "1001")


def test_an_original_ballot_cannot_be_taken_back(office: Database) -> None:
    with office.write() as session, pytest.raises(NotPossible, match="not a replacement"):
        life.take_back(session, replacement="1001", reason="x", by="lee", at=AT)


def test_a_replacement_of_a_ballot_that_was_voided_elsewhere_is_not_taken_back(office: Database) -> None:
    with office.write() as session:
        session.get_one(Ballot, "1001").state = "voided"
        session.flush()
        session.add(Ballot(number="5", election_id=ELECTION, voter_id="V1", style="A", state="issued", replaces="1001"))
        with pytest.raises(NotPossible, match="not on record"):
            life.take_back(session, replacement="5", reason="x", by="lee", at=AT)


def test_mailing_is_all_or_nothing(office: Database) -> None:
    with office.write() as session:
        one, two = reissue(session, "1001"), reissue(session, "1002")
        life.void(session, number=two.number, reason="cancelled", by="lee", at=AT)
        with pytest.raises(NotPossible, match=f"Ballot {two.number} is void"):
            life.mark_mailed(session, numbers=[one.number, two.number], on=TODAY, by="mail room", at=AT)
        assert one.mailed_on is None
        with pytest.raises(NotPossible, match="no ballot 99"):
            life.mark_mailed(session, numbers=["99"], on=TODAY, by="mail room", at=AT)
        life.mark_mailed(session, numbers=[one.number], on=TODAY, by="mail room", at=AT)
        assert one.mailed_on == TODAY
        with pytest.raises(NotPossible, match="mailed on October 7, 2031"):
            life.mark_mailed(session, numbers=[one.number], on=TODAY, by="mail room", at=AT)


def test_a_suspended_original_that_is_back_first_is_taken_in_and_the_replacement_is_voided(office: Database) -> None:
    with office.write() as session:
        new = reissue(session, "1001", "suspend")
        packet = queue(session, new.number)
    with office.write() as session:
        life.take_in(session, number="1001", on=TODAY, by="desk", at=AT)
        life.accept(session, number="1001", by="board", at=AT)
    with office.read() as session:
        assert session.get_one(Ballot, "1001").state == "accepted"
        replacement = session.get_one(Ballot, new.number)
        assert (replacement.state, replacement.void_reason) == ("voided", "original_returned_first")
        assert session.get_one(Packet, packet.id).state == "pulled"


def test_a_suspended_original_may_be_accepted_at_once(office: Database) -> None:
    with office.write() as session:
        new = reissue(session, "1001", "suspend")
        assert life.accept(session, number="1001", by="board", at=AT).state == "accepted"
        assert session.get_one(Ballot, new.number).state == "voided"


def test_a_suspended_original_that_is_back_second_goes_to_a_person(office: Database) -> None:
    with office.write() as session:
        new = reissue(session, "1001", "suspend")
        life.take_in(session, number=new.number, on=TODAY, by="desk", at=AT)
        with pytest.raises(NotPossible, match="came back first"):
            life.take_in(session, number="1001", on=TODAY, by="desk", at=AT)
        with pytest.raises(NotPossible, match="came back first"):
            life.accept(session, number="1001", by="board", at=AT)
        life.accept(session, number=new.number, by="board", at=AT)
        original = session.get_one(Ballot, "1001")
        assert (original.state, original.void_reason) == ("voided", "replacement_accepted")


def test_the_database_itself_refuses_a_second_live_ballot(office: Database) -> None:
    with pytest.raises(IntegrityError), office.write() as session:
        session.add(Ballot(number="9", election_id=ELECTION, voter_id="V1", style="A", state="issued"))


def test_a_rule_that_is_neither_void_nor_suspend_is_a_mistake(office: Database) -> None:
    with office.write() as session, pytest.raises(ValueError, match="'void' or 'suspend'"):
        reissue(session, "1001", "burn")


DO: dict[str, Callable[[Session, str], object]] = {
    "mailed": lambda s, n: life.mark_mailed(s, numbers=[n], on=TODAY, by="x", at=AT),
    "undeliverable": lambda s, n: life.mark_undeliverable(s, number=n, by="x", at=AT),
    "replaced": lambda s, n: reissue(s, n),
    "returned": lambda s, n: life.take_in(s, number=n, on=TODAY, by="x", at=AT),
    "accepted": lambda s, n: life.accept(s, number=n, by="x", at=AT),
    "challenged": lambda s, n: life.challenge(s, number=n, reason="no signature", by="x", at=AT),
    "cured": lambda s, n: life.cure(s, number=n, by="x", at=AT),
    "voided": lambda s, n: life.void(s, number=n, reason="cancelled", by="x", at=AT),
}
AFTER = {"mailed": "issued", "replaced": "voided", "cured": "returned"}


@pytest.mark.parametrize("state", BALLOT_STATES)
@pytest.mark.parametrize("event", DO)
def test_every_event_in_every_state_happens_or_is_refused_as_the_table_says(
    office: Database, event: str, state: str
) -> None:
    with office.write() as session:
        ballot = session.get_one(Ballot, "1001")
        ballot.state, ballot.mailed_on = state, None
        session.flush()
        if state in ALLOWED[event]:
            DO[event](session, "1001")
            assert session.get_one(Ballot, "1001").state == AFTER.get(event, event)
            assert len(events(session, "1001")) == 1
        else:
            with pytest.raises(NotPossible, match="1001"):
                DO[event](session, "1001")
            assert session.get_one(Ballot, "1001").state == state
            assert events(session, "1001") == []


@pytest.mark.parametrize("state", BALLOT_STATES)
def test_only_a_replacement_that_is_issued_can_be_taken_back(office: Database, state: str) -> None:
    with office.write() as session:
        new = reissue(session, "1001")
        new.state = state
        session.flush()
        if state in ALLOWED["taken back"]:
            life.take_back(session, replacement=new.number, reason="x", by="x", at=AT)
            assert new.state == "voided"
        else:
            with pytest.raises(NotPossible):
                life.take_back(session, replacement=new.number, reason="x", by="x", at=AT)
            assert session.get_one(Ballot, "1001").state == "voided"


def test_a_number_that_is_not_on_record_is_not_possible(office: Database) -> None:
    with office.write() as session, pytest.raises(NotPossible, match="no ballot 4711"):
        reissue(session, "4711")


@pytest.mark.parametrize("database", ["postgresql"], indirect=True)
def test_a_mailing_that_was_closed_meanwhile_bars_the_take_back(office: Database) -> None:
    """What was looked at before somebody else closed the mailing is read again when it is locked."""
    with office.write() as session:
        new = reissue(session, "1001")
        packet_id = queue(session, new.number).id
    with office.write() as session:
        seen = session.get_one(Packet, packet_id)  # held, as the page that decides holds it
        assert seen.state == "queued"
        with office.write() as other:
            other.get_one(Packet, packet_id).state = "frozen"
        with pytest.raises(NotPossible, match="closed mailing"):
            life.take_back(session, replacement=new.number, reason="found", by="lee", at=AT)
