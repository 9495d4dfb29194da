"""Two requests of one voter that were judged apart: a ballot issued meanwhile is never voided by one click."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from sqlalchemy import update

from replacements.requests import deciding, intake
from replacements.requests.deciding import Refused
from replacements.store.database import Database
from replacements.store.tables import Request
from tests.requests.conftest import MONDAY, RULES, OfficeAtWork

LATER = MONDAY + timedelta(minutes=10)


def two_judged_apart(at_work: OfficeAtWork) -> tuple[Request, Request]:
    """Two letters of the same voter, read by two workers at once: neither saw the other's request."""
    first = at_work.spoiled_by_ada()
    with at_work.database.write() as session:
        session.execute(update(Request).where(Request.id == first.id).values(state="declined"))
    second = at_work.spoiled_by_ada(at=MONDAY + timedelta(minutes=1))
    with at_work.database.write() as session:
        session.execute(update(Request).where(Request.id == first.id).values(state="waiting"))
    assert (first.proposal, second.proposal) == ("reissue", "reissue")
    return first, second


def approve(at_work: OfficeAtWork, request: Request, by: str, *roles: str) -> deciding.Outcome:
    return deciding.approve(
        at_work.database, request.id, version=request.version, by=by, roles=roles or ("clerk",), at=LATER
    )


def test_a_second_request_does_not_void_the_replacement_that_the_first_one_brought(at_work: OfficeAtWork) -> None:
    first, second = two_judged_apart(at_work)
    issued = approve(at_work, first, "clara").issued
    outcome = approve(at_work, second, "clara")
    assert outcome.state == "second"
    assert at_work.ballots("61000001") == {"5100001": "voided", issued: "issued"}


def test_two_people_may_replace_a_replacement(at_work: OfficeAtWork) -> None:
    first, second = two_judged_apart(at_work)
    issued = approve(at_work, first, "clara").issued
    approve(at_work, second, "clara")
    done = approve(at_work, at_work.request(second.id), "sue", "supervisor")
    assert done.state == "done"
    assert at_work.ballots("61000001") == {"5100001": "voided", issued: "voided", done.issued: "issued"}


def test_the_second_person_agrees_to_the_ballot_that_the_first_one_looked_at(on_sqlite: OfficeAtWork) -> None:
    first, second = two_judged_apart(on_sqlite)
    with on_sqlite.database.write() as session:
        session.execute(update(Request).where(Request.id == second.id).values(two_people=True))
    assert approve(on_sqlite, second, "clara").state == "second"
    issued = approve(on_sqlite, first, "clara").issued
    with pytest.raises(Refused, match="after the first person agreed"):
        approve(on_sqlite, on_sqlite.request(second.id), "sue", "supervisor")
    assert on_sqlite.ballots("61000001") == {"5100001": "voided", issued: "issued"}


def test_a_rule_is_not_one_of_two_people(on_sqlite: OfficeAtWork) -> None:
    first, second = two_judged_apart(on_sqlite)
    approve(on_sqlite, first, "clara")
    with pytest.raises(Refused, match="Two people"):
        deciding.approve(
            on_sqlite.database, second.id, version=1, by="rules: clear case", roles=("clerk",), at=LATER, by_rule=True
        )


def test_a_clear_case_goes_by_itself_only_from_the_address_on_the_voters_record(
    sqlite_database: Database, county: Callable[..., OfficeAtWork]
) -> None:
    at_work = county(sqlite_database, rules=RULES.rstrip() + '\n\n[approval]\nby = "clear_cases"\n')
    stranger = at_work.spoiled_by_ada(sender="Ada Quillfeather <someone@elsewhere.example>")
    assert (stranger.standing, stranger.proposal, stranger.state) == ("certain", "reissue", "waiting")
    assert at_work.ballots("61000001") == {"5100001": "issued"}


def test_a_copy_that_says_it_comes_from_a_machine_does_not_swallow_the_letter() -> None:
    letter = (
        b"From: Ada <ada.q@post.example>\r\nMessage-ID: <one@post.example>\r\nSubject: my ballot\r\n"
        b"Date: Mon, 05 Oct 2026 09:30:00 -0400\r\n%s\r\nI spoiled it.\r\n"
    )
    marks = {
        intake.fingerprint(letter % field)
        for field in (
            b"",
            b"Auto-Submitted: auto-replied\r\n",
            b"Precedence: bulk\r\n",
            b"List-Id: <all.post.example>\r\n",
            b"Content-Type: text/calendar\r\n",
            b"Content-Transfer-Encoding: base64\r\n",
            b"Reply-To: someone@elsewhere.example\r\n",
            b"From: someone@elsewhere.example\r\n",
        )
    }
    assert len(marks) == 8


def test_the_same_letter_delivered_twice_is_one_letter() -> None:
    letter = b"From: Ada <ada.q@post.example>\nMessage-ID: <one@post.example>\nSubject: my\n ballot\n\nI spoiled it.\n"
    again = (
        b"Return-Path: <ada.q@post.example>\r\nDelivered-To: second@saltgrass.example\r\n"
        b"Received: from a by mx.saltgrass.example; Mon, 5 Oct 2026 09:31:00 -0400\r\nX-Spam-Score: 0.1\r\n"
        b"From: Ada <ada.q@post.example>\r\nMessage-ID: <one@post.example>\r\nSubject: my ballot\r\n\r\n"
        b"I spoiled it.\r\n"
    )
    assert intake.fingerprint(letter) == intake.fingerprint(again)
