from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from functools import partial
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import select

from replacements.rules.calendar import is_mailing_day
from replacements.store.database import Database
from replacements.store.tables import Mailing
from replacements.summary.speed import measure, promise
from tests.benchmarks.a_large_office import AT, LargeOffice


@pytest.fixture(scope="module")
def office(tmp_path_factory: pytest.TempPathFactory) -> Iterator[LargeOffice]:
    database = Database(str(tmp_path_factory.mktemp("office") / "office.sqlite3"))
    yield LargeOffice(database, voters=600, ballots=400, requests=400)
    database.close()


@pytest.mark.parametrize("late", [False, True], ids=["mailed in time", "mailed days late"])
def test_the_front_page_counts_the_promise_as_the_week_does(office: LargeOffice, late: bool) -> None:
    """Over every two weeks of the office's month, by the beginnings of days and in the midst of them."""
    rules, zone = office.rules, ZoneInfo(office.rules.office.time_zone)
    business = partial(is_mailing_day, rules)
    if late:
        with office.database.write() as session:
            for one in session.scalars(select(Mailing).where(Mailing.mailed_at.is_not(None), Mailing.id % 3 == 0)):
                assert one.mailed_at is not None
                one.mailed_at += timedelta(days=4)
    seen = set()
    with office.database.read() as session:
        mailings = session.scalars(select(Mailing)).all()
        for hours in range(0, 24 * 35, 7):
            end = AT - timedelta(hours=hours)
            start = end - timedelta(days=13, hours=hours % 24)
            counted = promise(session, office.election, start, end, zone, business, mailings=mailings)
            listed = measure(session, office.election, start, end, end, zone, business)
            assert (*counted, counted.share) == (listed.mailed, listed.kept, len(listed.overdue), listed.share)
            seen.add((counted.mailed > 0, 0 < counted.kept < counted.mailed, counted.overdue > 0))
    assert any(mailed for mailed, _, _ in seen)
    assert any(overdue for _, _, overdue in seen) == late
    assert any(some for _, some, _ in seen) == late
