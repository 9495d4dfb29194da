"""What the pages ask of the database, counted; how long they take in a large office is measured by
`tests.benchmarks.pages_of_a_large_office`, whose pages and addresses these are."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from replacements.requests import office
from replacements.store.database import Database
from replacements.store.tables import Ballot, Mailing, Packet, RawMail, Reply
from tests.benchmarks.a_large_office import LargeOffice
from tests.benchmarks.pages_of_a_large_office import MOST_STATEMENTS, Measured, Statements, measure, site_over
from tests.web.invented_office import NOW, RULES, Site, message
from tests.web.many_requests import request, voter

Counts = dict[tuple[str, str], Measured]


def counted(folder: Path, size: int) -> Counts:
    database = Database(str(folder / f"{size}.sqlite3"))
    LargeOffice(database, voters=6 * size, ballots=4 * size, requests=size)
    try:
        return measure(database, site_over(database, folder), tries=1)
    finally:
        database.close()


@pytest.fixture(scope="module")
def offices(tmp_path_factory: pytest.TempPathFactory) -> tuple[Counts, Counts]:
    folder = tmp_path_factory.mktemp("offices")
    return counted(folder, 150), counted(folder, 600)


def test_no_page_asks_more_than_twelve_statements(offices: tuple[Counts, Counts]) -> None:
    """For a supervisor and a clerk, at every address that is drawn of each page."""
    many = {
        (page, role): max(one.statements)
        for few_or_many in offices
        for (page, role), one in few_or_many.items()
        if max(one.statements) > MOST_STATEMENTS
    }
    assert not many


def test_a_page_asks_no_more_in_an_office_four_times_as_large(offices: tuple[Counts, Counts]) -> None:
    few, many = offices
    assert set(few) == set(many)
    grown = {
        (page, role): (max(few[page, role].statements), max(one.statements))
        for (page, role), one in many.items()
        if max(one.statements) > max(few[page, role].statements)
    }
    assert not grown


def test_the_front_page_a_request_and_the_week_are_among_the_counted(offices: tuple[Counts, Counts]) -> None:
    pages = {page for page, role in offices[0] if role == "clerk"}
    assert {"/", "/now", "/requests/", "/requests/<int:request_id>", "/requests/together/", "search"} <= pages
    pages = {page for page, role in offices[0] if role == "supervisor"}
    assert {"/week/", "/week/<monday>", "/week/<first>/<last>/places", "/week/<first>/<last>/proposals"} <= pages
    assert {"/public-report/", "/public-report/<monday>"} <= pages


ASKED = (
    "We have read your message and would like to help. Please write back and tell us the date on which you were born,",
    "and the address at which you are registered to vote, so that we find your record among those of the same name.",
    "The election office",
)
ANSWER = "It is May 6, 1960, and 7 Sedge Row."


def _answer_to_our_question(site: Site, rules: str = "", **more: Any) -> None:
    """Request 7, whose letter quotes the office's own question with the answer between its lines."""
    lines = [f"> {ASKED[0]}", ANSWER, *(f"> {line}" for line in ASKED[1:])]
    raw = (
        "From: voter7@post.example\r\nTo: ballots@fennmark.example\r\nSubject: Re: Your message\r\n"
        "Date: Tue, 29 Sep 2026 09:10:00 -0400\r\nMessage-ID: <7@post.example>\r\n"
        "In-Reply-To: <asked@fennmark.example>\r\nContent-Type: text/plain; charset=utf-8\r\n\r\n"
        "On Mon, Sep 28, 2026 the office wrote:\r\n" + "\r\n".join(lines) + "\r\n"
    )
    with site.database.write() as session:
        force = office.in_force(session, at=NOW)
        assert force is not None
        session.add(voter(7))
        session.add(message(7, subject="Re: Your message", sender="voter7@post.example", name="", kinds=["details"]))
        session.flush()
        election = force.election_id
        session.add(RawMail(message_id=7, raw=raw.encode()))
        session.add(
            Ballot(
                number="7000007",
                election_id=election,
                voter_id="V-7",
                style="F-2",
                state="issued",
                mailed_on=NOW.date() - timedelta(days=15),
            )
        )
        asks = request(7, election, rules or force.sha256, **more)
        asks.judged = {**asks.judged, "may_answer": True, "decided_by_rules": rules or force.sha256}
        session.add(asks)
        session.flush()
        session.add(
            Reply(
                request_id=1,
                message_id="<asked@fennmark.example>",
                template="ask_identity",
                language="en",
                to="voter7@post.example",
                subject="Your message",
                text="\n\n".join(ASKED),
                html="",
                state="sent",
                queued_at=NOW - timedelta(days=1),
                next_try_at=NOW - timedelta(days=1),
            )
        )


def _asks_few(site: Site) -> None:
    """The page of request 7, opened for the first time by each of them."""
    for role in ("clerk", "supervisor"):
        client, counted = site.client(role), Statements(site.database)
        page = client.get("/requests/7").get_data(as_text=True)
        assert len(counted.asked) <= MOST_STATEMENTS
        assert ANSWER in page.partition("<details>")[0]  # told apart from what it stands in


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("state", ["waiting", "second", "asked"])
@pytest.mark.parametrize("proposal", ["reissue", "stop_reissue", "send_materials", "answer", "read"])
def test_a_letter_that_quotes_our_own_reply_asks_no_more(site: Site, proposal: str, state: str, language: str) -> None:
    decided: dict[str, Any] = {"first_by": "clerk-2"} if state == "second" else {}
    if state == "asked":
        decided = {"decision": proposal, "decided_by": "clerk", "decided_at": NOW}
    _answer_to_our_question(site, proposal=proposal, state=state, language=language, **decided)
    _asks_few(site)


@pytest.mark.parametrize("newer", [False, True], ids=["the same rules", "newer rules since"])
def test_nor_does_one_whose_replacement_is_in_a_mailing(site: Site, newer: bool) -> None:
    """Decided by rules that are in force still, and by rules that are not."""
    with site.database.read() as session:
        force = office.in_force(session, at=NOW)
    assert force is not None
    if newer:
        with site.database.write() as session:
            office.load(session, f"{RULES}\n# changed\n", at=NOW)
            office.adopt(session, official="Registrar Hollis Penn", by="supervisor", at=NOW)
    done = {"state": "done", "decision": "reissue", "decided_by": "clerk", "decided_at": NOW}
    _answer_to_our_question(site, force.sha256, voided_ballot="7000007", **done)
    with site.database.write() as session:
        mailing = session.query(Mailing).one()
        session.add(Packet(mailing_id=mailing.id, request_id=7, voter_id="V-7", contents=["ballot"], queued_at=NOW))
    _asks_few(site)
