"""Two people sign a mailing off, each with the count they found; then it is mailed."""

from __future__ import annotations

import threading
from collections.abc import Callable
from datetime import UTC, date, datetime

import pytest
from sqlalchemy import func, select

from replacements.ballots import ledger, life
from replacements.mailings import stock
from replacements.mailings.closing import close
from replacements.mailings.queue import pull
from replacements.mailings.signing import Signed, reprint, sign
from replacements.rules.office import Rules
from replacements.store.database import Database
from replacements.store.tables import Ballot, LedgerEntry, Mailing, Packet, Signature

ELECTION = "2026-11-03-general-election"
MORNING = datetime(2026, 10, 14, 13, 0, tzinfo=UTC)
CUT_OFF = datetime(2026, 10, 14, 18, 30, tzinfo=UTC)
LATER = datetime(2026, 10, 14, 19, 0, tzinfo=UTC)
Queue = Callable[..., Packet]


@pytest.fixture
def closed(office: Database, queue: Queue, rules: Rules) -> tuple[Database, int]:
    """A closed mailing with two ballots and one packet of materials alone."""
    with office.write() as session:
        mailing_id = queue(session, "8000017").mailing_id
        queue(session, "8000025", style="07-B")
        queue(session, None)
        close(session, mailing_id, rules=rules, by="schedule", at=CUT_OFF)
    return office, mailing_id


def test_two_people_with_the_right_count_mail_it(closed: tuple[Database, int]) -> None:
    office, mailing_id = closed
    with office.write() as session:
        first = sign(session, mailing_id, account="mara", counted=3, at=LATER)
        assert (first.state, first.mailed) == ("signed", ())
        second = sign(session, mailing_id, account="joel", counted=3, at=LATER)
        assert second.state == "mailed"
        assert [packet.ballot_number for packet in second.mailed] == ["8000017", "8000025", None]
    with office.read() as session:
        mailing = session.get_one(Mailing, mailing_id)
        assert (mailing.state, mailing.mailed_at) == ("mailed", LATER)
        assert session.get_one(Ballot, "8000017").mailed_on == date(2026, 10, 14)
        assert set(session.scalars(select(Packet.state))) == {"mailed"}
        events = list(session.scalars(select(LedgerEntry.event).order_by(LedgerEntry.seq)))
        assert events[-5:] == ["mailing_signed", "mailed", "mailed", "mailing_signed", "mailing_mailed"]
        assert ledger.verify(session).broken is None


def test_a_count_that_differs_is_refused_with_both_numbers(closed: tuple[Database, int]) -> None:
    office, mailing_id = closed
    with office.write() as session:
        refused = sign(session, mailing_id, account="mara", counted=2, at=LATER)
        assert refused.state == "refused"
        assert "2 packets" in refused.text
        assert "3" in refused.text
        assert session.scalar(select(func.count()).select_from(Signature)) == 0


def test_the_same_person_does_not_sign_twice(closed: tuple[Database, int]) -> None:
    office, mailing_id = closed
    with office.write() as session:
        sign(session, mailing_id, account="mara", counted=3, at=LATER)
        assert sign(session, mailing_id, account="mara", counted=3, at=LATER).state == "refused"
        assert session.get_one(Mailing, mailing_id).state == "closed"


def test_an_open_mailing_is_not_signed(office: Database, queue: Queue) -> None:
    with office.write() as session:
        mailing_id = queue(session, "8000017").mailing_id
        assert "open" in sign(session, mailing_id, account="mara", counted=1, at=LATER).text


def test_a_mailed_mailing_is_not_signed_again(closed: tuple[Database, int]) -> None:
    office, mailing_id = closed
    with office.write() as session:
        for account in ("mara", "joel"):
            sign(session, mailing_id, account=account, counted=3, at=LATER)
        third = sign(session, mailing_id, account="ines", counted=3, at=LATER)
        assert (third.state, third.mailed) == ("refused", ())


def test_a_ballot_voided_after_closing_must_be_taken_out_before_anybody_signs(closed: tuple[Database, int]) -> None:
    office, mailing_id = closed
    with office.write() as session:
        sign(session, mailing_id, account="mara", counted=3, at=LATER)
        life.void(session, number="8000017", reason="voted in person", by="ines", at=LATER)
        refused = sign(session, mailing_id, account="joel", counted=3, at=LATER)
        assert refused.state == "refused"
        assert "8000017" in refused.text
        packet = session.scalars(select(Packet).where(Packet.ballot_number == "8000017")).one()
        pull(session, packet.id, by="joel", at=LATER, reason="voided")
        assert sign(session, mailing_id, account="joel", counted=3, at=LATER).state == "refused"
        mailed = sign(session, mailing_id, account="joel", counted=2, at=LATER)
        assert mailed.state == "mailed"
        assert len(mailed.mailed) == 2
        assert session.get_one(Ballot, "8000017").mailed_on is None


def test_a_mailed_packet_is_not_pulled(closed: tuple[Database, int]) -> None:
    office, mailing_id = closed
    with office.write() as session:
        for account in ("mara", "joel"):
            sign(session, mailing_id, account=account, counted=3, at=LATER)
        packet = session.scalars(select(Packet).where(Packet.ballot_number == "8000017")).one()
        with pytest.raises(life.NotPossible, match="was mailed"):
            pull(session, packet.id, by="mara", at=LATER, reason="too late")


def test_three_who_sign_at_once_mail_it_once(closed: tuple[Database, int]) -> None:
    office, mailing_id = closed
    results: list[Signed] = []
    troubles: list[Exception] = []
    start = threading.Barrier(3)

    def work(account: str) -> None:
        try:
            start.wait(30)
            with office.write() as session:
                results.append(sign(session, mailing_id, account=account, counted=3, at=LATER))
        except Exception as trouble:
            troubles.append(trouble)

    threads = [threading.Thread(target=work, args=(account,)) for account in ("mara", "joel", "ines")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert not troubles
    assert sorted(signed.state for signed in results) == ["mailed", "refused", "signed"]
    with office.read() as session:
        assert session.scalar(select(func.count()).where(LedgerEntry.event == "mailed")) == 2


def test_a_jammed_label_is_printed_again_and_on_record(closed: tuple[Database, int]) -> None:
    office, _ = closed
    with office.write() as session:
        packet = session.scalars(select(Packet).where(Packet.ballot_number == "8000017")).one()
        reprint(session, packet.id, by="mara", at=LATER)
        assert reprint(session, packet.id, by="mara", at=LATER).printed == 2
        entries = session.scalars(select(LedgerEntry).where(LedgerEntry.event == "label_reprinted")).all()
        assert [entry.ballot_number for entry in entries] == ["8000017", "8000017"]


def test_a_label_is_not_printed_again_before_it_is_frozen(office: Database, queue: Queue) -> None:
    with office.write() as session:
        packet = queue(session, "8000017")
        with pytest.raises(life.NotPossible, match="no label"):
            reprint(session, packet.id, by="mara", at=MORNING)


def test_a_shortage_is_seen_while_the_packets_still_wait(office: Database, queue: Queue) -> None:
    with office.write() as session:
        stock.count(session, ELECTION, "07-A", 1, by="mara", at=MORNING)
        stock.count(session, ELECTION, "07-C", 9, by="mara", at=MORNING)
        queue(session, "8000017")
        assert not stock.shortages(session, ELECTION)
        queue(session, "8000025")
        queue(session, "8000033", style="07-B")
        assert stock.overview(session, ELECTION) == (
            stock.StyleStock("07-A", 1, 2),
            stock.StyleStock("07-B", None, 1),
            stock.StyleStock("07-C", 9, 0),
        )
        assert [(row.style, row.short) for row in stock.shortages(session, ELECTION)] == [("07-A", 1)]


def test_mailed_ballots_come_off_the_stock(closed: tuple[Database, int]) -> None:
    office, mailing_id = closed
    with office.write() as session:
        stock.count(session, ELECTION, "07-A", 10, by="mara", at=MORNING)
        for account in ("mara", "joel"):
            sign(session, mailing_id, account=account, counted=3, at=LATER)
        assert stock.overview(session, ELECTION) == (stock.StyleStock("07-A", 9, 0),)


def test_a_count_below_nothing_is_refused(office: Database) -> None:
    with office.write() as session, pytest.raises(life.NotPossible):
        stock.count(session, ELECTION, "07-A", -1, by="mara", at=MORNING)
