"""What waits for voters and when a ballot should be back, as the pages show it."""

from __future__ import annotations

from datetime import timedelta

from sqlalchemy import select

from replacements.requests import office
from replacements.store.tables import Reply, Request
from tests.web.invented_office import NOW, RULES, Site

WAITING = "\n[waiting]\nstatement = { remind_after_days = 4, lapse_after_days = 10 }\n"


def ask_for_a_statement(site: Site) -> None:
    """The first request was answered with the question for a statement, two days ago; it went out."""
    asked = NOW - timedelta(days=2)
    with site.database.write() as session:
        office.load(session, RULES + WAITING, at=NOW - timedelta(days=3))
        office.adopt(session, official="Registrar Hollis Penn", by="supervisor", at=NOW - timedelta(days=3))
        request = session.get_one(Request, 1)
        request.state, request.decision = "asked", "statement_first"
        request.decided_by, request.decided_at = "clerk", asked
        reply = Reply(
            request_id=1,
            message_id="<r1@fennmark.example>",
            template="statement_first",
            language="en",
            to="ottoline@post.example",
            subject="We need a signed statement first",
            text="",
            html="",
            state="sent",
            queued_at=asked,
            next_try_at=asked,
            sent_at=asked,
        )
        session.add(reply)


def test_the_request_says_when_the_reminder_goes_and_when_it_is_closed(site: Site) -> None:
    ask_for_a_statement(site)
    page = site.see("clerk", "/requests/1").get_data(as_text=True)
    assert "Waits for the voter's statement" in page
    assert "a reminder goes on" in page
    assert "closed by rule on" in page


def test_the_supervisor_sees_on_the_first_page_what_waits_and_a_clerk_does_not(site: Site) -> None:
    ask_for_a_statement(site)
    with site.database.read() as session:
        assert session.scalars(select(Request.id).where(Request.state == "asked")).all() == [1]
    seen = site.see("supervisor", "/").get_data(as_text=True)
    assert "What waits for voters" in seen
    assert "Asked and not answered</dt><dd>1," in seen
    assert "remind nobody" not in seen
    assert "What waits for voters" not in site.see("clerk", "/").get_data(as_text=True)


def test_rules_that_remind_nobody_are_said_so(site: Site) -> None:
    assert "remind nobody and close nothing" in site.see("supervisor", "/").get_data(as_text=True)


def test_the_picture_of_the_days_stands_on_the_request(site: Site) -> None:
    page = site.see("clerk", "/requests/1").get_data(as_text=True)
    assert "When the ballot should be back" in page
    assert "The last day that counts is" in page
    assert "within the county" in page


def test_an_observer_sees_the_days_and_not_where_the_voter_is(site: Site) -> None:
    page = site.see("observer", "/requests/1").get_data(as_text=True)
    assert "When the ballot should be back" in page
    assert "within the county" not in page
