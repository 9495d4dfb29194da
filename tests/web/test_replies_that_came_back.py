"""A reply that came back undelivered is seen on the first page, in the list and on its request."""

from __future__ import annotations

from datetime import timedelta
from html import unescape

import pytest

from replacements.requests.came_back import RULE
from replacements.store.tables import Reply, Request
from tests.web.invented_office import NOW, Site

WHY = "there is no such mailbox"
TOLD = "550 5.1.1 ottoline@post.example unknown"


@pytest.fixture
def returned(site: Site) -> Site:
    """The reply to request 2 came back; the notice's own request waits (here: request 1 stands for it)."""
    with site.database.write() as session:
        reply = session.query(Reply).filter_by(request_id=2).one()
        reply.state, reply.error, reply.sent_at = "sent", None, NOW - timedelta(hours=1)
        reply.returned_at, reply.returned_because, reply.returned_told = NOW, WHY, TOLD
        notice = session.get_one(Request, 1)
        notice.proposal, notice.continues = "read", 2
        notice.reasons = [{"rule": RULE, "text": f"The office's reply to request 2 came back undelivered: {WHY}."}]
    return site


def _page(site: Site, address: str, role: str = "clerk") -> str:
    return unescape(site.see(role, address).get_data(as_text=True))


def test_the_first_page_counts_what_came_back_and_leads_there(returned: Site) -> None:
    page = _page(returned, "/")
    assert "1 reply came back undelivered" in page
    address = "/requests/?state=waiting&proposal=came_back"
    assert address in page
    assert '<a href="/requests/1">1</a>' in _page(returned, address)


def test_the_list_of_what_came_back_holds_nothing_else(site: Site) -> None:
    assert '<a href="/requests/1">1</a>' not in _page(site, "/requests/?state=waiting&proposal=came_back")
    assert "came back undelivered" not in _page(site, "/")


def test_the_request_says_that_its_reply_came_back_and_why(returned: Site) -> None:
    page = _page(returned, "/requests/2")
    assert "Reply: came back undelivered" in page
    assert WHY in page
    assert TOLD in page
    assert "answers this one" in page  # the notice


def test_the_notice_leads_to_the_request(returned: Site) -> None:
    page = _page(returned, "/requests/1")
    assert f"The office's reply to request 2 came back undelivered: {WHY}." in page
    assert "what this one answers" in page


def test_once_a_person_has_dealt_with_it_the_first_page_is_in_order_again(returned: Site) -> None:
    returned.client("clerk").post("/requests/1/approve", data={"version": "1"})
    assert "came back undelivered" not in _page(returned, "/")
    assert "came back undelivered" in _page(returned, "/requests/2")


@pytest.mark.parametrize("address", ["/", "/requests/2", "/requests/1"])
def test_an_observer_sees_that_it_came_back_and_not_to_whom(returned: Site, address: str) -> None:
    page = _page(returned, address, "observer")
    assert "came back undelivered" in page
    assert "ottoline@post.example" not in page
