"""Two people sign a mailing off, each with the count they found; then it is mailed."""

from __future__ import annotations

import threading
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta

import pytest
from sqlalchemy import func, select

from replacements.ballots import ledger, life
from replacements.mailings.closing import close
from replacements.mailings.printing_again import printed_again, record_print, reprint, reprint_sheet
from replacements.mailings.queue import pull, put_off
from replacements.mailings.signing import Counts, Signed, sign, valid_signatures
from replacements.rules.office import Rules
from replacements.store.database import Database
from replacements.store.tables import Ballot, LedgerEntry, Mailing, Packet, Signature

MORNING = datetime(2026, 10, 14, 13, 0, tzinfo=UTC)
CUT_OFF = datetime(2026, 10, 14, 18, 30, tzinfo=UTC)
LATER = datetime(2026, 10, 14, 19, 0, tzinfo=UTC)
Queue = Callable[..., Packet]
ALL = Counts(picked=2, labelled=3, sealed=3)


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
        first = sign(session, mailing_id, account="mara", counts=ALL, at=LATER)
        assert (first.state, first.mailed) == ("signed", ())
        second = sign(session, mailing_id, account="joel", counts=ALL, at=LATER)
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


@pytest.mark.parametrize(
    ("counts", "said"),
    [
        (Counts(1, 3, 3), "1 ballots picked, but the manifest says 2"),
        (Counts(2, 4, 3), "4 packets labelled, but the manifest says 3"),
        (Counts(2, 3, 2), "2 packets sealed, but the manifest says 3"),
        (Counts(2, 3, 3, electronic=1), "1 ballots sent electronically, but the manifest says 0"),
    ],
)
def test_a_count_that_differs_is_refused_with_both_numbers(
    closed: tuple[Database, int], counts: Counts, said: str
) -> None:
    office, mailing_id = closed
    with office.write() as session:
        refused = sign(session, mailing_id, account="mara", counts=counts, at=LATER)
        assert refused.state == "refused"
        assert said in refused.text
        assert session.scalar(select(func.count()).select_from(Signature)) == 0


def test_the_same_person_does_not_sign_twice(closed: tuple[Database, int]) -> None:
    office, mailing_id = closed
    with office.write() as session:
        sign(session, mailing_id, account="mara", counts=ALL, at=LATER)
        assert sign(session, mailing_id, account="mara", counts=ALL, at=LATER).state == "refused"
        assert session.get_one(Mailing, mailing_id).state == "closed"


def test_an_open_mailing_is_not_signed(office: Database, queue: Queue) -> None:
    with office.write() as session:
        mailing_id = queue(session, "8000017").mailing_id
        assert "open" in sign(session, mailing_id, account="mara", counts=Counts(1, 1, 1), at=LATER).text


def test_a_mailed_mailing_is_not_signed_again(closed: tuple[Database, int]) -> None:
    office, mailing_id = closed
    with office.write() as session:
        for account in ("mara", "joel"):
            sign(session, mailing_id, account=account, counts=ALL, at=LATER)
        third = sign(session, mailing_id, account="ines", counts=ALL, at=LATER)
        assert (third.state, third.mailed) == ("refused", ())


def test_a_ballot_voided_after_closing_must_be_taken_out_before_anybody_signs(closed: tuple[Database, int]) -> None:
    office, mailing_id = closed
    with office.write() as session:
        life.void(session, number="8000017", reason="voted in person", by="ines", at=LATER)
        refused = sign(session, mailing_id, account="joel", counts=ALL, at=LATER)
        assert refused.state == "refused"
        assert "8000017" in refused.text
        packet = session.scalars(select(Packet).where(Packet.ballot_number == "8000017")).one()
        pull(session, packet.id, by="joel", at=LATER, reason="voided")
        assert sign(session, mailing_id, account="joel", counts=ALL, at=LATER).state == "refused"
        for account in ("joel", "mara"):
            signed = sign(session, mailing_id, account=account, counts=Counts(1, 2, 2), at=LATER)
        assert signed.state == "mailed"
        assert len(signed.mailed) == 2
        assert session.get_one(Ballot, "8000017").mailed_on is None


def test_a_signature_from_before_a_packet_was_pulled_does_not_count(closed: tuple[Database, int]) -> None:
    office, mailing_id = closed
    with office.write() as session:
        assert sign(session, mailing_id, account="mara", counts=ALL, at=LATER).state == "signed"
        packet = session.scalars(select(Packet).where(Packet.ballot_number == "8000017")).one()
        pull(session, packet.id, by="ines", at=LATER, reason="the envelope tore")
        assert not valid_signatures(session, session.get_one(Mailing, mailing_id))
        fewer = Counts(1, 2, 2)
        assert sign(session, mailing_id, account="joel", counts=fewer, at=LATER).state == "signed"
        assert session.get_one(Mailing, mailing_id).state == "closed"
        # The one who signed too early counts again like anybody else; what they signed first stays on record.
        assert sign(session, mailing_id, account="mara", counts=fewer, at=LATER).state == "mailed"
        signatures = session.execute(select(Signature.account, Signature.sealed).order_by(Signature.id)).all()
        assert [tuple(row) for row in signatures] == [("mara", 3), ("joel", 2), ("mara", 2)]


def test_a_packet_pulled_at_the_last_minute_goes_with_the_next_mailing(
    closed: tuple[Database, int], rules: Rules
) -> None:
    office, _ = closed
    with office.write() as session:
        packet = session.scalars(select(Packet).where(Packet.ballot_number == "8000017")).one()
        fresh = put_off(session, packet.id, rules=rules, by="mara", at=LATER, reason="the envelope tore")
        assert (packet.state, fresh.state, fresh.ballot_number) == ("pulled", "queued", "8000017")
        assert session.get_one(Mailing, fresh.mailing_id).goes_on == date(2026, 10, 15)
        again = put_off(session, packet.id, rules=rules, by="mara", at=LATER, reason="twice")
        assert again.id == fresh.id
        events = list(session.scalars(select(LedgerEntry.event).order_by(LedgerEntry.seq)))
        assert events[-2:] == ["packet_pulled", "packet_queued_again"]


def test_a_packet_put_off_from_an_open_mailing_goes_one_mailing_day_later(
    office: Database, queue: Queue, rules: Rules
) -> None:
    with office.write() as session:
        packet = queue(session, "8000017")
        fresh = put_off(session, packet.id, rules=rules, by="mara", at=MORNING, reason="an item is missing")
        assert session.get_one(Mailing, fresh.mailing_id).goes_on == date(2026, 10, 15)


def test_a_packet_whose_ballot_no_longer_counts_goes_nowhere(closed: tuple[Database, int], rules: Rules) -> None:
    office, _ = closed
    with office.write() as session:
        life.void(session, number="8000017", reason="voted in person", by="ines", at=LATER)
        packet = session.scalars(select(Packet).where(Packet.ballot_number == "8000017")).one()
        left = put_off(session, packet.id, rules=rules, by="mara", at=LATER, reason="voided")
        assert (left.id, left.state) == (packet.id, "pulled")


def test_a_mailing_signed_the_day_after_went_the_day_after(closed: tuple[Database, int]) -> None:
    office, mailing_id = closed
    with office.write() as session:
        for account in ("mara", "joel"):
            signed = sign(
                session, mailing_id, account=account, counts=ALL, at=LATER + timedelta(days=1), today=date(2026, 10, 15)
            )
        assert signed.on == date(2026, 10, 15)
        assert session.get_one(Ballot, "8000017").mailed_on == date(2026, 10, 15)


def test_a_mailed_packet_is_not_pulled(closed: tuple[Database, int]) -> None:
    office, mailing_id = closed
    with office.write() as session:
        for account in ("mara", "joel"):
            sign(session, mailing_id, account=account, counts=ALL, at=LATER)
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
                results.append(sign(session, mailing_id, account=account, counts=ALL, at=LATER))
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
    office, mailing_id = closed
    with office.write() as session:
        assert len(record_print(session, mailing_id, by="mara", at=LATER)) == 3
        packet = session.scalars(select(Packet).where(Packet.ballot_number == "8000017")).one()
        reprint(session, packet.id, by="mara", at=LATER, reason="jam")
        assert reprint(session, packet.id, by="mara", at=LATER, reason="spoiled").printed == 3
        again = printed_again(session, session.get_one(Mailing, mailing_id))
        assert [(one.ballot, one.reason, one.by) for one in again] == [
            ("8000017", "the printer jammed", "mara"),
            ("8000017", "the label was spoiled", "mara"),
        ]


def test_a_whole_sheet_that_jammed_is_printed_again_label_by_label_on_record(closed: tuple[Database, int]) -> None:
    office, mailing_id = closed
    with office.write() as session:
        ids = set(session.scalars(select(Packet.id)))
        assert len(reprint_sheet(session, mailing_id, ids, by="mara", at=LATER, reason="jam")) == 3
        assert len(printed_again(session, session.get_one(Mailing, mailing_id))) == 3
        with pytest.raises(life.NotPossible, match="no such sheet"):
            reprint_sheet(session, mailing_id, [], by="mara", at=LATER, reason="jam")


def test_a_label_is_not_printed_again_without_a_reason(closed: tuple[Database, int]) -> None:
    office, _ = closed
    with office.write() as session:
        packet = session.scalars(select(Packet).where(Packet.ballot_number == "8000017")).one()
        with pytest.raises(life.NotPossible, match="Say why"):
            reprint(session, packet.id, by="mara", at=LATER, reason="")


def test_a_label_is_not_printed_again_before_it_is_frozen(office: Database, queue: Queue) -> None:
    with office.write() as session:
        packet = queue(session, "8000017")
        with pytest.raises(life.NotPossible, match="no label"):
            reprint(session, packet.id, by="mara", at=MORNING, reason="jam")
