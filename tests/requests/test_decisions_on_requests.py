"""A person decides: what is voided, issued, queued and said, all or nothing; on both databases."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta

import pytest
from sqlalchemy import select

from replacements.ballots import ledger
from replacements.ballots.reconciling import reconcile
from replacements.mailings.signing import Counts
from replacements.proposals.types import Action
from replacements.requests import deciding, dispatch
from replacements.requests.deciding import Refused, Stale
from replacements.store.database import Database
from replacements.store.tables import Mailing, Packet, Reply, Request
from tests.requests.conftest import MONDAY, RULES, OfficeAtWork

LATER = MONDAY + timedelta(minutes=10)


def approve(at_work: OfficeAtWork, request: Request, **more: object) -> deciding.Outcome:
    wanted = {"version": request.version, "by": "clara", "roles": ("clerk",), "at": LATER} | more
    return deciding.approve(at_work.database, request.id, **wanted)  # type: ignore[arg-type]


def replies(at_work: OfficeAtWork, request: Request) -> list[Reply]:
    with at_work.database.read() as session:
        found = session.scalars(select(Reply).where(Reply.request_id == request.id).order_by(Reply.id)).all()
        return list(found)


def test_approval_voids_issues_queues_and_answers_in_one_go(at_work: OfficeAtWork) -> None:
    request = at_work.spoiled_by_ada()
    assert (request.standing, request.voter_id, request.proposal) == ("certain", "61000001", "reissue")
    outcome = approve(at_work, request)
    assert outcome.state == "done"
    states = at_work.ballots("61000001")
    assert states.pop("5100001") == "voided"
    assert list(states.items()) == [(outcome.issued, "issued")]
    (reply,) = replies(at_work, request)
    assert reply.template == "reissue"
    assert reply.to == "ada.q@post.example"
    assert reply.in_reply_to == "<mail-1@post.example>"
    with at_work.database.read() as session:
        packet = session.scalars(select(Packet)).one()
        mailing = session.get_one(Mailing, packet.mailing_id)
        assert (packet.ballot_number, mailing.goes_on) == (outcome.issued, date(2026, 10, 5))
        verdict = ledger.verify(session)
        assert verdict.broken is None
        assert not reconcile(session, at_work.election_id).differences


def test_the_second_of_two_clerks_is_told_and_changes_nothing(at_work: OfficeAtWork) -> None:
    request = at_work.spoiled_by_ada()
    approve(at_work, request)
    before = at_work.ballots("61000001")
    with pytest.raises(Stale):
        approve(at_work, request, by="dora")
    assert at_work.ballots("61000001") == before


def test_nothing_is_voided_until_an_official_has_adopted_the_rules(
    sqlite_database: Database, county: Callable[..., OfficeAtWork]
) -> None:
    at_work = county(sqlite_database, adopted=False)
    request = at_work.spoiled_by_ada()
    with pytest.raises(Refused, match="adopted"):
        approve(at_work, request)
    assert at_work.ballots("61000001") == {"5100001": "issued"}
    assert at_work.request(request.id).state == "waiting"


def test_a_ballot_that_came_back_meanwhile_is_not_voided(at_work: OfficeAtWork) -> None:
    from replacements.ballots import desk

    request = at_work.spoiled_by_ada()
    with at_work.database.write() as session:
        desk.receive(session, "5100001", election_id=at_work.election_id, by="rita", at=LATER)
    with pytest.raises(Refused):
        approve(at_work, request)
    assert at_work.ballots("61000001") == {"5100001": "returned"}
    assert at_work.request(request.id).state == "waiting"
    assert replies(at_work, request) == []


def test_another_action_needs_a_reason(on_sqlite: OfficeAtWork) -> None:
    request = on_sqlite.spoiled_by_ada()
    with pytest.raises(Refused, match="why"):
        approve(on_sqlite, request, action=Action.STATEMENT_FIRST)
    outcome = approve(on_sqlite, request, action=Action.STATEMENT_FIRST, note="The voter told two stories by phone.")
    assert outcome.state == "asked"
    assert on_sqlite.ballots("61000001") == {"5100001": "issued"}


def test_a_reissue_against_the_proposal_needs_two_different_people(at_work: OfficeAtWork) -> None:
    text = "my ballot got wet and tore, please send another. Oren Tansley, 7 Cattail Ln, Saltgrass"
    (request,) = at_work.receive(text, sender="oren@elsewhere.example")
    assert (request.standing, request.proposal) == ("unclear", "ask_identity")
    first = approve(at_work, request, action=Action.REISSUE, voter_id="61000004", note="He called; checked by phone.")
    assert first.state == "second"
    assert at_work.ballots("61000004") == {"5100004": "issued"}
    waiting = at_work.request(request.id)
    with pytest.raises(Refused, match="somebody else"):
        approve(at_work, waiting, roles=("clerk", "supervisor"))
    with pytest.raises(Refused, match="second approval"):
        approve(at_work, waiting, by="dora")
    with pytest.raises(Refused, match="something else"):
        approve(at_work, waiting, by="sue", roles=("supervisor",), voter_id="61000003")
    done = approve(at_work, waiting, by="sue", roles=("supervisor",))
    assert done.state == "done"
    assert at_work.ballots("61000004")["5100004"] == "voided"
    assert at_work.ballots("61000003") == {"5100003": "issued"}


def test_a_declined_request_changes_nothing_and_says_why(at_work: OfficeAtWork) -> None:
    request = at_work.spoiled_by_ada()
    with pytest.raises(Refused):
        deciding.decline(at_work.database, request.id, version=1, by="clara", at=LATER, note=" ")
    deciding.decline(at_work.database, request.id, version=1, by="clara", at=LATER, note="Not her own wish.")
    kept = at_work.request(request.id)
    assert (kept.state, kept.decision_note) == ("declined", "Not her own wish.")
    assert replies(at_work, request) == []


def test_a_reissue_is_taken_back_until_the_mailing_closes(at_work: OfficeAtWork) -> None:
    request = at_work.spoiled_by_ada()
    outcome = approve(at_work, request)
    decided = at_work.request(request.id)
    deciding.take_back(
        at_work.database, request.id, version=decided.version, by="sue", at=LATER, reason="The voter found hers."
    )
    assert at_work.ballots("61000001") == {"5100001": "issued", outcome.issued: "voided"}
    assert [r.state for r in replies(at_work, request)] == ["cancelled"]
    again = at_work.request(request.id)
    assert again.state == "waiting"
    second = approve(at_work, again)
    assert second.issued not in ("5100001", outcome.issued)
    with at_work.database.read() as session:
        assert not reconcile(session, at_work.election_id).differences


def test_after_the_mailing_closed_a_void_is_final(at_work: OfficeAtWork) -> None:
    request = at_work.spoiled_by_ada()
    approve(at_work, request)
    with at_work.database.read() as session:
        mailing_id = session.scalars(select(Mailing.id)).one()
    dispatch.close(at_work.database, mailing_id, by="mona", at=LATER)
    decided = at_work.request(request.id)
    with pytest.raises(Refused):
        deciding.take_back(at_work.database, request.id, version=decided.version, by="sue", at=LATER, reason="late")


def test_found_it_takes_the_replacement_back_before_the_mailing(at_work: OfficeAtWork) -> None:
    request = at_work.spoiled_by_ada()
    issued = approve(at_work, request).issued
    (found,) = at_work.receive(
        "Never mind, please cancel the new ballot. It was a sample sheet that I spoiled, my ballot is fine.\n"
        "Ada Quillfeather, 14 Otter Bank Rd",
        subject="please disregard",
        at=MONDAY + timedelta(hours=1),
    )
    assert found.proposal == "stop_reissue"
    approve(at_work, found, at=MONDAY + timedelta(hours=2))
    assert at_work.ballots("61000001") == {"5100001": "issued", issued: "voided"}
    assert at_work.request(request.id).decision == "withdrawn"


def test_asking_twice_is_one_reissue(at_work: OfficeAtWork) -> None:
    first = at_work.spoiled_by_ada()
    second = at_work.spoiled_by_ada(at=MONDAY + timedelta(hours=1), subject="did you get my mail?")
    assert second.proposal == "read"
    assert second.reasons[0]["rule"] == "trade.one_reissue"
    approve(at_work, first)
    third = at_work.spoiled_by_ada(at=MONDAY + timedelta(hours=2), subject="hello??")
    assert third.proposal == "read"


def test_an_answer_to_our_question_counts_together_with_what_was_known(at_work: OfficeAtWork) -> None:
    (request,) = at_work.receive(
        "my ballot got wet and the paper tore, please send me another one.\n\nOren Tansley, 7 Cattail Ln, Saltgrass",
        sender="Oren Tansley <oren@elsewhere.example>",
    )
    assert request.proposal == "ask_identity"
    approve(at_work, request)
    (asked,) = replies(at_work, request)
    (answer,) = at_work.receive(
        "Sure: January 22, 1984.\n\nOren",
        sender="Oren Tansley <oren@elsewhere.example>",
        subject="Re: your ballot",
        answers=asked.message_id,
        at=MONDAY + timedelta(hours=3),
    )
    assert (answer.standing, answer.voter_id) == ("certain", "61000004")
    assert answer.proposal == "reissue"
    assert answer.continues == request.id


def test_with_the_second_signature_ballots_are_mailed_and_voters_told(at_work: OfficeAtWork) -> None:
    request = at_work.spoiled_by_ada()
    issued = approve(at_work, request).issued
    with at_work.database.read() as session:
        mailing_id = session.scalars(select(Mailing.id)).one()
    cut_off = MONDAY.replace(hour=14, minute=31)
    assert dispatch.close_due(at_work.database, now=MONDAY.replace(hour=14, minute=29)) == 0
    assert dispatch.close_due(at_work.database, now=cut_off) == 1
    assert dispatch.close_due(at_work.database, now=cut_off) == 0
    dispatch.sign(at_work.database, mailing_id, account="mona", counts=Counts(1, 1, 1), at=cut_off)
    assert [r.template for r in replies(at_work, request)] == ["reissue"]
    dispatch.sign(at_work.database, mailing_id, account="sue", counts=Counts(1, 1, 1), at=cut_off)
    told = replies(at_work, request)
    assert [r.template for r in told] == ["reissue", "mailed"]
    assert issued in told[1].text
    with at_work.database.read() as session:
        assert session.get_one(Mailing, mailing_id).state == "mailed"


def test_clear_cases_go_by_themselves_only_where_the_rules_say_so(
    sqlite_database: Database, county: Callable[..., OfficeAtWork]
) -> None:
    at_work = county(sqlite_database, rules=RULES.rstrip() + '\n\n[approval]\nby = "clear_cases"\n')
    clear = at_work.spoiled_by_ada()
    assert at_work.request(clear.id).decided_by == "rules: clear case"
    unverified = at_work.receive(
        "coffee all over my ballot, please send another. Temi Oyelowa, 220 Ferry Lane Apt 4, born July 19 1990",
        sender="Temi Oyelowa <temi@post.example>",
        verified="none",
    )
    assert at_work.request(unverified[0].id).state == "waiting"
