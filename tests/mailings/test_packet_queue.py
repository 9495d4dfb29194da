"""Packets wait in the mailing that is still open."""

from __future__ import annotations

import threading
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta

import pytest
from sqlalchemy import func, select

from replacements.ballots.life import NotPossible
from replacements.mailings.closing import close
from replacements.mailings.queue import contents_for, open_mailing, pull, pull_waiting, queue_packet
from replacements.rules.office import Rules
from replacements.store.database import Database
from replacements.store.tables import LedgerEntry, Mailing, Packet

ELECTION = "2026-11-03-general-election"
MORNING = datetime(2026, 10, 14, 13, 0, tzinfo=UTC)
EVENING = datetime(2026, 10, 14, 22, 0, tzinfo=UTC)
Queue = Callable[..., Packet]


def test_a_packet_approved_before_the_cut_off_is_in_todays_mailing(office: Database, queue: Queue) -> None:
    with office.write() as session:
        packet = queue(session, "8000017")
        assert session.get_one(Mailing, packet.mailing_id).goes_on == date(2026, 10, 14)
        assert packet.state == "queued"


def test_a_packet_approved_after_the_cut_off_is_in_the_next_business_days(office: Database, queue: Queue) -> None:
    with office.write() as session:
        packet = queue(session, "8000017", EVENING)
        assert session.get_one(Mailing, packet.mailing_id).goes_on == date(2026, 10, 15)


def test_where_the_days_mailing_was_closed_early_the_packet_goes_the_next_business_day(
    office: Database, queue: Queue, rules: Rules
) -> None:
    with office.write() as session:
        first = queue(session, "8000017")
        close(session, first.mailing_id, rules=rules, by="mara", at=MORNING)
        second = queue(session, "8000025", MORNING + timedelta(minutes=5))
        assert session.get_one(Mailing, second.mailing_id).goes_on == date(2026, 10, 15)


def test_the_same_ballot_is_queued_once_however_often_it_is_asked(office: Database, queue: Queue, rules: Rules) -> None:
    with office.write() as session:
        first = queue(session, "8000017")
        again = queue_packet(
            session,
            election_id=ELECTION,
            rules=rules,
            at=EVENING,
            request_id=None,
            voter_id=first.voter_id,
            ballot_number="8000017",
            contents=[],
        )
        assert again.id == first.id
        assert session.scalar(select(func.count()).select_from(Packet)) == 1


def test_an_identification_notice_goes_only_to_whom_the_record_says(office: Database, queue: Queue) -> None:
    with office.write() as session:
        due = queue(session, "8000017", id_required=True)
        not_due = queue(session, "8000025")
    assert due.contents[-1] == "identification notice"
    assert not any("identification" in item for item in not_due.contents)
    assert contents_for(["form if required"], id_required=False) == ["form if required"]


def test_a_packet_is_pulled_with_a_reason_that_is_on_record(office: Database, queue: Queue) -> None:
    with office.write() as session:
        packet = queue(session, "8000017")
        pull(session, packet.id, by="mara", at=MORNING, reason="taken back")
        pull(session, packet.id, by="mara", at=MORNING, reason="twice")
    with office.read() as session:
        assert session.get_one(Packet, packet.id).state == "pulled"
        entries = session.scalars(select(LedgerEntry).where(LedgerEntry.event == "packet_pulled")).all()
        assert [(entry.ballot_number, entry.by) for entry in entries] == [("8000017", "mara")]
        assert '"reason":"taken back"' in entries[0].details


def test_a_pulled_ballot_may_be_queued_again(office: Database, queue: Queue, rules: Rules) -> None:
    with office.write() as session:
        packet = queue(session, "8000017")
        pull(session, packet.id, by="mara", at=MORNING, reason="stained")
        again = queue_packet(
            session,
            election_id=ELECTION,
            rules=rules,
            at=MORNING,
            request_id=None,
            voter_id=packet.voter_id,
            ballot_number="8000017",
            contents=["ballot"],
        )
        assert again.id != packet.id


def test_a_ballot_is_taken_back_while_its_packet_waits_and_not_after(
    office: Database, queue: Queue, rules: Rules
) -> None:
    with office.write() as session:
        waiting = queue(session, "8000017")
        frozen = queue(session, "8000025")
        pulled = pull_waiting(session, "8000017", by="mara", at=MORNING, reason="withdrawn")
        assert pulled is not None
        assert (pulled.id, pulled.state) == (waiting.id, "pulled")
        assert pull_waiting(session, "8000017", by="mara", at=MORNING, reason="withdrawn") is None
        close(session, frozen.mailing_id, rules=rules, by="schedule", at=MORNING)
        with pytest.raises(NotPossible, match="closed mailing"):
            pull_waiting(session, "8000025", by="mara", at=MORNING, reason="withdrawn")
        assert frozen.state == "frozen"


def test_a_packet_that_does_not_exist_cannot_be_pulled(office: Database) -> None:
    with office.write() as session, pytest.raises(NotPossible, match="no packet 99"):
        pull(session, 99, by="mara", at=MORNING, reason="?")


def test_eight_at_once_make_one_mailing(office: Database, rules: Rules) -> None:
    found: list[int] = []
    troubles: list[Exception] = []
    start = threading.Barrier(8)

    def work() -> None:
        try:
            start.wait(30)
            with office.write() as session:
                found.append(open_mailing(session, election_id=ELECTION, rules=rules, at=MORNING).id)
        except Exception as trouble:
            troubles.append(trouble)

    threads = [threading.Thread(target=work) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert not troubles
    assert len(found) == 8
    assert len(set(found)) == 1


def test_packets_queued_while_the_mailing_closes_are_in_it_or_in_the_next_and_never_lost(
    office: Database, queue: Queue, rules: Rules
) -> None:
    with office.write() as session:
        mailing_id = queue(session, "8000009").mailing_id
    troubles: list[Exception] = []
    start = threading.Barrier(5)

    def add(place: int) -> None:
        try:
            start.wait(30)
            for number in range(4):
                with office.write() as session:
                    queue(session, f"80{place}{number}777")
        except Exception as trouble:
            troubles.append(trouble)

    def shut() -> None:
        try:
            start.wait(30)
            with office.write() as session:
                close(session, mailing_id, rules=rules, by="schedule", at=MORNING)
        except Exception as trouble:
            troubles.append(trouble)

    threads = [threading.Thread(target=add, args=(place,)) for place in range(4)] + [threading.Thread(target=shut)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(120)
    assert not troubles
    with office.read() as session:
        mailing = session.get_one(Mailing, mailing_id)
        counted = select(Packet.state, func.count()).where(Packet.mailing_id == mailing_id).group_by(Packet.state)
        states = {row[0]: row[1] for row in session.execute(counted)}
        assert mailing.manifest is not None
        assert states == {"frozen": mailing.manifest["total"]}
        assert session.scalar(select(func.count()).select_from(Packet)) == 17
