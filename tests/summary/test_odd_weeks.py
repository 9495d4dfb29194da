"""Weeks that are unlike others: a clock change, a year's end, one request alone, an undone scan and nothing else."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from io import BytesIO
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from pypdf import PdfReader

from replacements.store.database import Database
from replacements.store.tables import VoterRow
from replacements.summary import chart, multiples
from replacements.summary.export import tables
from replacements.summary.figures import Week
from replacements.summary.ledger_days import roll_forward
from replacements.summary.pdf import week_pdf
from replacements.summary.text import mail_text, sentences
from replacements.summary.week import Stretch, week
from tests.summary.conftest import ELECTION, ZONE

OFFICE = ZoneInfo(ZONE)
LATER = datetime(2032, 3, 1, tzinfo=UTC)
SPRING, AUTUMN, NEW_YEAR = date(2031, 3, 3), date(2031, 10, 27), date(2031, 12, 29)  # Sundays of 23 and of 25 hours

BACK = '{"from":"issued","style":"A"}'


def _at(day: date, hour: int, minute: int = 0, *, fold: int = 0) -> datetime:
    return datetime(day.year, day.month, day.day, hour, minute, tzinfo=OFFICE, fold=fold).astimezone(UTC)


def _counted(database: Database, monday: date) -> Week:
    with database.read() as session:
        return week(session, ELECTION, monday, ZONE, now=LATER)


def _everything(found: Week) -> str:
    """All that is made of a week, without a fault; the text of its printed form."""
    assert all(text.count("\n") >= 1 for text in tables(found).values())
    assert mail_text(found, "Office")[1]
    for picture in (chart.requests_per_day(found), chart.reissue_rate(found), multiples.kinds(found)):
        assert picture.startswith("<svg")
    document = week_pdf(found, "Office", overriding=True)
    return " ".join(" ".join(page.extract_text() for page in PdfReader(BytesIO(document)).pages).split())


@pytest.mark.parametrize(("monday", "hours"), [(SPRING, 167), (AUTUMN, 169), (NEW_YEAR, 168)])
def test_a_week_holds_its_first_and_its_last_moment_and_no_other(
    records: Any, election: Database, monday: date, hours: int
) -> None:
    sunday, after = monday + timedelta(days=6), monday + timedelta(days=7)
    first, last = _at(monday, 0), _at(sunday, 23, 59)
    assert (_at(after, 0) - first) / timedelta(hours=1) == hours
    for moment in (first - timedelta(minutes=1), first, last, _at(after, 0)):
        records.request(moment)
    records.done()
    found = _counted(election, monday)
    assert [day.requests for day in found.days] == [1, 0, 0, 0, 0, 0, 1]
    assert found.before is not None
    assert (found.requests, found.before.requests) == (2, 1)
    assert "2 requests came in" in _everything(found)


def test_the_hour_that_comes_twice_is_counted_twice(records: Any, election: Database) -> None:
    """1:30 in the summer's time and 1:30 an hour later are of the same Sunday; what waited is an hour older."""
    sunday = AUTUMN + timedelta(days=6)
    records.request(_at(sunday, 1, 30))
    records.request(_at(sunday, 1, 30, fold=1))
    records.done()
    found = _counted(election, AUTUMN)
    assert found.days[-1].requests == 2
    assert [entry.hours for entry in found.waiting] == [23.5, 22.5]


def test_the_hour_that_is_left_out_makes_nobody_wait(records: Any, election: Database) -> None:
    sunday = SPRING + timedelta(days=6)
    records.request(_at(sunday, 1, 30))
    records.done()
    assert [entry.hours for entry in _counted(election, SPRING).waiting] == [21.5]


def test_one_request_alone_is_all_of_it(records: Any, election: Database) -> None:
    records.request(_at(AUTUMN, 10), kinds=["question"], proposal="answer", language="vi")
    records.done()
    found = _counted(election, AUTUMN)
    assert [(one.name, one.count, one.size, one.few) for one in found.kinds] == [("question", 1, 1, True)]
    assert [(one.name, one.count) for one in found.languages] == [("vi", 1)]
    assert sentences(found) == (
        "1 request came in, and 0 replacement ballots were issued.",
        "No packet was mailed.",
        "1 request has been waiting for 6.6 days.",
    )
    assert (found.speed.share, found.speed.interval, found.mean_rate) == (None, None, None)
    assert sentences(found)[0] in _everything(found)


def test_a_week_that_only_takes_back_a_scan_of_the_week_before_is_shown(records: Any, election: Database) -> None:
    """The post brought a packet back on Sunday, and on Monday the wrong number was seen: no rate below nothing."""
    records.session.add(VoterRow(voter_id="V1", last_name="Q", first_name="Q", style="A", precinct="P1", number=1))
    records.ballot("1001", "V1")
    sunday = AUTUMN - timedelta(days=1)
    records.event("imported", _at(sunday, 8), "1001", '{"state":"issued","style":"A"}')
    records.event("undeliverable", _at(sunday, 9), "1001", '{"from":"issued","style":"A"}')
    records.event("return_undone", _at(AUTUMN, 9), "1001", '{"from":"undeliverable","to":"issued","style":"A"}')
    records.done()
    found = _counted(election, AUTUMN)
    assert found.unusual.undeliverable == ()
    assert [rate.out for rate in found.precincts] == [1]
    assert "0 requests came in" in _everything(found)


@pytest.mark.parametrize("added_up", ["never", "before the last came back", "after all"])
def test_a_precinct_whose_mail_comes_back_stands_out_on_the_page_as_in_the_whole_week(
    records: Any, election: Database, added_up: str
) -> None:
    """Its neighbour was sent its ballots within the week, so that the most were out in the middle of it."""
    for number in range(400):
        precinct = "P1" if number < 40 else "P2"
        records.session.add(
            VoterRow(voter_id=f"V{number}", last_name="Q", first_name="Q", precinct=precinct, number=number + 1)
        )
        records.ballot(f"{number}", f"V{number}")
        sent = AUTUMN - timedelta(days=3) if number < 40 else AUTUMN + timedelta(days=2)
        records.event("imported", _at(sent, 9), f"{number}", '{"state":"issued","style":"A"}')
    for number in (*range(11), 300):
        records.event("undeliverable", _at(AUTUMN + timedelta(days=4), 9), f"{number}", BACK)
    records.done()
    if added_up != "never":
        roll_forward(election, ELECTION, ZONE)
    if added_up == "before the last came back":
        records.event("undeliverable", _at(AUTUMN + timedelta(days=5), 9), "11", BACK)
        records.done()
    with election.read() as session:
        days = Stretch(ELECTION, AUTUMN, AUTUMN + timedelta(days=6), ZONE, now=LATER)
        whole, page = days.week(session), days.front(session)
    (found,) = whole.unusual.undeliverable
    events = 12 if added_up == "before the last came back" else 11
    assert (found.name, found.events, found.out) == ("P1", events, 40)
    assert page.unusual == replace(whole.unusual, overriding=())
