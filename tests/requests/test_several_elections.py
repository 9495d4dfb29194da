"""Elections beside each other: adopting, closing, being over; decisions, mailings and jobs by each one's own rules."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import select

from replacements.ballots.reconciling import reconcile
from replacements.requests import dispatch, office
from replacements.requests.deciding import Refused
from replacements.requests.office import NotClosed
from replacements.store.tables import AdoptedRules, LedgerEntry, Mailing, Request
from tests.requests.conftest import MONDAY, RULES, ZONE, OfficeAtWork
from tests.requests.several import ADA, PRIMARY, RUNOFF, SPOILED, approve, from_ada, open_beside, states

ADAS_RUNOFF = "5200001,61000001,12-A,issued,2026-10-01,,,"
STRICTER = RULES.replace("spoiled = { statement = false", "spoiled = { statement = true")


def open_now(at_work: OfficeAtWork, at: datetime = MONDAY) -> list[str]:
    with at_work.database.read() as session:
        return [force.election_id for force in office.offered(session, at=at)]


def adopt(at_work: OfficeAtWork, rules: str, *, only_load: bool = False) -> None:
    with at_work.database.write() as session:
        force = office.load(session, rules, at=MONDAY)
        if not only_load:
            office.adopt(session, official="the registrar", by="test", at=MONDAY, election_id=force.election_id)


def test_adopting_another_elections_rules_puts_it_beside_the_first(at_work: OfficeAtWork, tmp_path: Path) -> None:
    runoff = open_beside(at_work, RUNOFF, tmp_path=tmp_path)
    assert open_now(at_work) == [runoff, at_work.election_id]
    with at_work.database.read() as session:
        following = office.in_force(session, at=MONDAY)
        assert following is not None
        assert (following.election_id, following.several) == (runoff, True)
        last = office.in_force(session, at=MONDAY + timedelta(days=20))
        assert last is not None
        assert last.election_id == at_work.election_id


def test_rules_that_are_only_loaded_open_no_election_and_change_none(on_sqlite: OfficeAtWork) -> None:
    adopt(on_sqlite, RUNOFF, only_load=True)
    adopt(on_sqlite, STRICTER, only_load=True)
    assert open_now(on_sqlite) == [on_sqlite.election_id]
    with on_sqlite.database.read() as session:
        force = office.of(session, on_sqlite.election_id, at=MONDAY)
        assert force is not None
        assert force.adopted
        assert not force.rules.reason("spoiled").statement
        waits = office.loaded_last(session, on_sqlite.election_id)
        assert waits is not None
        assert not waits.adopted
    assert from_ada(on_sqlite).proposal == "reissue"


def test_a_change_of_rules_takes_effect_from_its_adoption_and_leaves_what_was_decided(on_sqlite: OfficeAtWork) -> None:
    decided = from_ada(on_sqlite)
    approve(on_sqlite, decided)
    before = on_sqlite.request(decided.id)
    adopt(on_sqlite, STRICTER)
    (late,) = on_sqlite.receive(
        "My ballot is ruined, I marked the wrong oval. Please send another.\n\n"
        "Oren Tansley Sr, 7 Cattail Ln, Saltgrass, born May 12, 1949\n",
        sender="Oren Tansley <oren@post.example>",
    )
    assert late.proposal == "statement_first"
    after = on_sqlite.request(decided.id)
    for column in Request.__table__.columns:
        assert getattr(after, column.key) == getattr(before, column.key), column.key
    with on_sqlite.database.read() as session:
        earlier = office.version(session, before.judged["decided_by_rules"])
        assert earlier is not None
        assert not earlier.reason("spoiled").statement
        assert len(session.scalars(select(AdoptedRules)).all()) == 2
        voided = session.scalars(select(LedgerEntry).where(LedgerEntry.event == "voided")).one()
        assert before.judged["decided_by_rules"] in voided.details


def test_a_change_of_one_elections_rules_leaves_the_other_alone(at_work: OfficeAtWork, tmp_path: Path) -> None:
    runoff = open_beside(at_work, RUNOFF, ADAS_RUNOFF, tmp_path=tmp_path)
    adopt(at_work, STRICTER)  # the general election's
    assert from_ada(at_work, SPOILED.format(ballot="runoff ballot")).proposal == "reissue"
    general = from_ada(at_work, SPOILED.format(ballot="general election ballot"))
    assert (general.proposal, general.election_id) == ("statement_first", at_work.election_id)
    assert open_now(at_work) == [runoff, at_work.election_id]


def test_each_election_has_its_own_deadline(on_sqlite: OfficeAtWork, tmp_path: Path) -> None:
    primary = open_beside(on_sqlite, PRIMARY, "5300001,61000001,12-A,issued,2026-08-20,,,", tmp_path=tmp_path)
    late = from_ada(on_sqlite, SPOILED.format(ballot="primary ballot"))
    assert (late.election_id, late.proposal) == (primary, "come_in")
    in_time = from_ada(on_sqlite, SPOILED.format(ballot="general election ballot"))
    assert (in_time.election_id, in_time.proposal) == (on_sqlite.election_id, "reissue")


def test_a_voter_has_one_live_ballot_in_each_election_and_no_second_one(at_work: OfficeAtWork, tmp_path: Path) -> None:
    runoff = open_beside(at_work, RUNOFF, ADAS_RUNOFF, tmp_path=tmp_path)
    for words in ("runoff ballot", "general election ballot"):
        approve(at_work, from_ada(at_work, SPOILED.format(ballot=words)))
    for election_id in (runoff, at_work.election_id):
        assert sorted(states(at_work, ADA, election_id).values()) == ["issued", "voided"]


def test_two_mailings_on_one_day_close_each_at_its_own_cut_off(at_work: OfficeAtWork, tmp_path: Path) -> None:
    early = RUNOFF.replace("cut_off = 14:30:00", "cut_off = 11:00:00")
    runoff = open_beside(at_work, early, ADAS_RUNOFF, tmp_path=tmp_path)
    for words in ("runoff ballot", "general election ballot"):
        approve(at_work, from_ada(at_work, SPOILED.format(ballot=words)))

    def open_mailings() -> dict[str, date]:
        with at_work.database.read() as session:
            found = session.scalars(select(Mailing).where(Mailing.state == "open"))
            return {mailing.election_id: mailing.goes_on for mailing in found}

    assert open_mailings() == {runoff: date(2026, 10, 5), at_work.election_id: date(2026, 10, 5)}
    assert dispatch.close_due(at_work.database, now=MONDAY.replace(hour=11, minute=5)) == 1
    assert open_mailings() == {at_work.election_id: date(2026, 10, 5)}
    assert dispatch.close_due(at_work.database, now=MONDAY.replace(hour=15)) == 1
    with at_work.database.read() as session:
        assert all(reconcile(session, election_id).agrees for election_id in (runoff, at_work.election_id))


def test_an_election_is_over_two_weeks_after_its_last_ballot_could_count(
    on_sqlite: OfficeAtWork, tmp_path: Path
) -> None:
    primary = open_beside(on_sqlite, PRIMARY, tmp_path=tmp_path)
    last = datetime(2026, 10, 14, 17, tzinfo=ZONE)  # an overseas voter's ballot
    assert primary in open_now(on_sqlite, last + timedelta(days=14))
    assert open_now(on_sqlite, last + timedelta(days=14, minutes=1)) == [on_sqlite.election_id]


def test_after_the_last_election_its_rules_go_on_reading_the_mail(on_sqlite: OfficeAtWork) -> None:
    assert open_now(on_sqlite, datetime(2027, 3, 1, tzinfo=UTC)) == [on_sqlite.election_id]


def test_a_closed_election_is_offered_no_more_stays_readable_and_can_be_opened_again(
    at_work: OfficeAtWork, tmp_path: Path
) -> None:
    runoff = open_beside(at_work, RUNOFF, ADAS_RUNOFF, tmp_path=tmp_path)
    request = from_ada(at_work, SPOILED.format(ballot="runoff ballot"))
    with at_work.database.write() as session:
        office.close(session, runoff, official="Registrar Penn", by="test", at=MONDAY)
    assert open_now(at_work) == [at_work.election_id]
    with at_work.database.read() as session:
        force = office.of(session, runoff, at=MONDAY)
        assert force is not None
        assert force.closed is not None
        assert force.closed.by == "Registrar Penn"
    with pytest.raises(Refused, match="was closed by Registrar Penn"):
        approve(at_work, request)
    assert from_ada(at_work).election_id == at_work.election_id  # one is open: as ever
    with at_work.database.write() as session:
        office.reopen(session, runoff, official="Registrar Penn", by="test", at=MONDAY)
    assert open_now(at_work) == [runoff, at_work.election_id]
    approve(at_work, at_work.request(request.id))


def test_an_election_whose_packets_wait_for_the_post_is_not_closed(on_sqlite: OfficeAtWork) -> None:
    approve(on_sqlite, from_ada(on_sqlite))
    with pytest.raises(NotClosed, match="1 packets"), on_sqlite.database.write() as session:
        office.close(session, on_sqlite.election_id, official="Registrar Penn", by="test", at=MONDAY)


def test_where_every_election_is_closed_a_person_reads_what_still_comes(on_sqlite: OfficeAtWork) -> None:
    with on_sqlite.database.write() as session:
        office.close(session, on_sqlite.election_id, official="Registrar Penn", by="test", at=MONDAY)
    request = from_ada(on_sqlite)
    assert (request.proposal, request.reasons[0]["rule"]) == ("read", "trade.election_closed")
    assert on_sqlite.ballots(ADA) == {"5100001": "issued"}


def test_loading_the_same_file_again_changes_nothing_whatever_was_loaded_between(on_sqlite: OfficeAtWork) -> None:
    adopt(on_sqlite, RUNOFF)
    with on_sqlite.database.write() as session:
        assert office.load(session, RULES, at=MONDAY).adopted
        assert len(session.scalars(select(AdoptedRules)).all()) == 2


def test_a_bounce_is_kept_with_the_election_of_the_reply_that_it_returns(
    on_sqlite: OfficeAtWork, tmp_path: Path
) -> None:
    from replacements.store.tables import Reply

    runoff = open_beside(on_sqlite, RUNOFF, tmp_path=tmp_path)
    request = from_ada(on_sqlite)
    approve(on_sqlite, request)
    with on_sqlite.database.write() as session:
        reply = session.scalars(select(Reply).where(Reply.request_id == request.id)).one()
        reply.state, reply.sent_at, reply.attempts = "sent", MONDAY, 1
        number = reply.message_id
    bounce = (
        "From: MAILER-DAEMON@mail.post.example\nTo: ballots@saltgrass.example\nSubject: Undelivered mail\n"
        "Date: Mon, 05 Oct 2026 10:00:00 -0400\nMessage-ID: <bounce@mail.post.example>\nMIME-Version: 1.0\n"
        'Content-Type: multipart/report; report-type=delivery-status; boundary="b"\n\n--b\n'
        "Content-Type: text/plain\n\nThe mail could not be delivered.\n--b\nContent-Type: message/delivery-status\n\n"
        "Reporting-MTA: dns; mail.post.example\n\nFinal-Recipient: rfc822; ada.q@post.example\nAction: failed\n"
        "Status: 5.1.1\n--b\nContent-Type: message/rfc822\n\n"
        f"Message-ID: {number}\nTo: ada.q@post.example\nSubject: x\n\nx\n--b--\n"
    )
    (row,) = on_sqlite.receive_raw(bounce.encode(), at=MONDAY)
    assert row.continues == request.id
    assert row.election_id == on_sqlite.election_id != runoff
