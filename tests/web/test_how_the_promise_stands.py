"""What the front page says of the promise, of the next mailing, of second persons and of what went wrong."""

from __future__ import annotations

import re
from datetime import date, timedelta
from xml.etree import ElementTree as ET

import pytest

from replacements.mailings import stock
from replacements.requests import office
from replacements.store.tables import Condition, Mailing, Message, Packet, Request
from replacements.summary.chart import two_weeks
from replacements.summary.fortnight import DAYS, fortnight
from tests.web.invented_office import NOW, RULES, Site
from tests.web.two_elections import AUTUMN

ZONE = "America/New_York"


def front(site: Site, role: str = "supervisor") -> str:
    """The words of the front page."""
    text = re.sub(r"<[^>]*>", " ", site.see(role, "/").get_data(as_text=True))
    return " ".join(text.split())


def test_the_two_weeks_are_counted_by_the_offices_days(site: Site) -> None:
    """At 2 am UTC it is still the day before at the office."""
    with site.database.write() as session:
        first = session.get_one(Request, 1)
        first.received_at = NOW.replace(hour=2)
        first.state, first.decided_at = "declined", NOW
        mailing = session.get_one(Mailing, 1)
        mailing.state, mailing.mailed_at = "mailed", NOW
        session.query(Packet).one().state = "mailed"
    with site.database.read() as session:
        days = fortnight(session, AUTUMN, date(2026, 9, 29), ZONE)
    assert [one.day for one in days] == [date(2026, 9, 16) + timedelta(days=n) for n in range(DAYS)]
    assert [(one.came, one.decided, one.mailed) for one in days[-2:]] == [(1, 0, 0), (1, 2, 1)]
    assert sum(one.came + one.decided + one.mailed for one in days[:-2]) == 0


def test_what_is_older_or_of_another_election_is_not_counted(site: Site) -> None:
    with site.database.write() as session:
        session.get_one(Request, 1).received_at = NOW - timedelta(days=DAYS)
    with site.database.read() as session:
        assert sum(one.came for one in fortnight(session, AUTUMN, date(2026, 9, 29), ZONE)) == 1
        assert sum(one.came for one in fortnight(session, "another", date(2026, 9, 29), ZONE)) == 0


def test_the_picture_says_its_numbers_in_words_and_the_table_has_them(site: Site) -> None:
    with site.database.read() as session:
        days = fortnight(session, AUTUMN, date(2026, 9, 29), ZONE)
    svg = ET.fromstring(two_weeks(days))
    names = {child.tag.rpartition("}")[2]: child.text or "" for child in svg}
    assert names["title"] == "Requests of the last two weeks"
    assert "Tuesday, September 29: 2 came in, 1 decided" in names["desc"]
    assert "Tue, Sep 29 2 1 0" in front(site)


def test_the_front_page_says_how_long_is_left_and_what_is_still_to_decide(site: Site) -> None:
    said = front(site)
    assert "Left before the mailing closes 3 h 30 min 1 still to decide by Tue, Sep 29, 2:00 pm" in said
    assert "How full the mailing is 1 in it; 1 more may join it once decided." in said


def test_what_was_promised_and_not_mailed_is_overdue(site: Site) -> None:
    assert "overdue" not in front(site)
    with site.database.write() as session:
        session.query(Packet).filter_by(request_id=2).one().received_at = NOW - timedelta(days=5)
    assert "1 overdue" in front(site)


def test_mail_that_is_kept_and_not_read_is_counted(site: Site) -> None:
    with site.database.write() as session:
        session.get_one(Message, 2).state = "stored"
    assert "1 more mail is being read" in front(site)


@pytest.mark.parametrize(("minutes", "told"), [(5, False), (30, True)])
def test_a_mailbox_of_which_nothing_was_heard_may_have_stopped(site: Site, minutes: int, told: bool) -> None:
    with site.database.write() as session:
        session.merge(Condition(name="mailbox", ok=True, text="Read.", at=NOW - timedelta(minutes=minutes)))
    assert (f"The mailbox was last looked at {minutes} min ago: the worker may have stopped" in front(site)) is told


def test_what_needs_a_second_person_is_named_by_its_sort(site: Site) -> None:
    with site.database.write() as session:
        session.get_one(Request, 1).state = "second"
        session.get_one(Mailing, 1).state = "closed"
        stock.enter(session, AUTUMN, "F-2", "received", 5, by="mail_room", at=NOW)
    said = front(site)
    assert "1 waiting for a second person" in said
    assert "1 mailing to be signed off" in said
    assert "1 count of blank ballots for a second person" in said


def test_before_anything_came_the_page_says_so_and_not_that_something_is_wrong(site: Site) -> None:
    with site.database.write() as session:
        session.get_one(Request, 1).state = "declined"
        office.load(session, RULES, at=NOW)
    said = front(site, "clerk")
    assert "0 Everything is decided" in said
    assert "Nothing was mailed yet" in said
