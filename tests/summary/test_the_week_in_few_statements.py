"""A week is counted in a handful of statements, however much there is to count, and what is published of it alike."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from sqlalchemy import event

from replacements.store.database import Database
from replacements.store.tables import Ballot, Election, Request
from replacements.summary.compared import parts
from replacements.summary.figures import Machine, Proposals
from replacements.summary.ledger_days import roll_forward
from replacements.summary.places import where_ballots_are
from replacements.summary.week import LISTED, Stretch
from tests.summary.a_year import ELECTION, FIRST, WEEKS, ZONE, Year

LATER = datetime(2032, 3, 1, tzinfo=UTC)
LATE_SUMMER = date(2031, 9, 1)
MOST = (
    6  # how far the sums go, the short questions, the requests, the sums, the newer entries, the shared addresses; and
)
# of an election before that is on record the sums and the newer entries


@contextmanager
def asked(database: Database) -> Iterator[list[str]]:
    found: list[str] = []

    def one(_c: Any, _cursor: Any, statement: str, *_more: Any) -> None:
        found.append(statement)

    event.listen(database.engine, "before_cursor_execute", one)
    try:
        yield found
    finally:
        event.remove(database.engine, "before_cursor_execute", one)


def _statements(found: list[str]) -> int:
    return sum(not statement.startswith(("BEGIN", "PRAGMA")) for statement in found)


@pytest.fixture
def year(database: Database) -> Database:
    Year(requests=400, voters=700, seed=20310901).store(database)
    return database


@pytest.mark.parametrize("rolled", [False, True], ids=["read from the ledger", "added up before"])
def test_what_is_published_is_what_the_week_says_though_less_is_read(year: Database, rolled: bool) -> None:
    if rolled:
        roll_forward(year, ELECTION, ZONE)
    told = set()
    with year.read() as session:
        for monday in (FIRST + timedelta(weeks=n) for n in range(-1, WEEKS + 2)):
            days = (ELECTION, monday, monday + timedelta(days=6), ZONE)
            published = Stretch(*days, now=LATER).published(session)
            assert published == Stretch(*days, now=LATER).week(session).public
            told |= {
                name for name, told in (("mailed", published.mailed), ("voids", published.voided_by_reason)) if told
            }
    assert told == {"mailed", "voids"}


@pytest.mark.parametrize("until", [FIRST, LATE_SUMMER, date(2032, 2, 2)])
@pytest.mark.parametrize("rolled", [False, True], ids=["read from the ledger", "added up before"])
def test_where_the_ballots_are_now_does_not_depend_on_the_week_that_is_shown(
    year: Database, rolled: bool, until: date
) -> None:
    if rolled:
        roll_forward(year, ELECTION, ZONE)
    days = (ELECTION, until, until + timedelta(days=6), ZONE)
    with year.read() as session:
        found, whole = Stretch(*days, now=LATER).by_place(session), Stretch(*days, now=LATER).week(session)
        assert found.now == where_ballots_are(session, ELECTION, ZONE)
        assert found.now.agrees
        # What came after those days is in none of the other figures.
        assert (found.styles, found.precincts) == (whole.styles, whole.precincts)
        assert found.reissued == {part: rows for part, rows in parts(whole).items() if part in ("style", "precinct")}


def test_each_page_counts_what_the_whole_week_counts(year: Database) -> None:
    with year.read() as session:
        for monday in (FIRST, LATE_SUMMER, date(2032, 2, 2)):
            days = (ELECTION, monday, monday + timedelta(days=6), ZONE)
            whole = Stretch(*days, now=LATER).week(session)
            proposals, front = Stretch(*days, now=LATER).proposals(session), Stretch(*days, now=LATER).front(session)
            assert proposals == Proposals(whole.decisions, whole.overrides, whole.machine, whole.unusual.overriding)
            assert whole.before is not None
            assert front == replace(
                whole,
                before=replace(whole.before, by_precinct={}),
                waiting=whole.waiting[:LISTED],
                machine=front.machine,
                precincts=(),
                unusual=replace(whole.unusual, overriding=()),
            )
    assert proposals.decisions == 0
    assert front.machine == Machine((), (), {}, 0)


def test_a_ballot_that_the_table_has_elsewhere_than_the_ledger_is_noticed_on_the_page_of_any_week(
    year: Database,
) -> None:
    roll_forward(year, ELECTION, ZONE)
    with year.write() as session:
        ballot = session.query(Ballot).filter(Ballot.state == "issued").first()
        assert ballot is not None
        ballot.state = "accepted"
    with year.read() as session:
        found = Stretch(ELECTION, FIRST, FIRST + timedelta(days=6), ZONE, now=LATER).by_place(session)
    assert not found.now.agrees


@pytest.mark.parametrize("before", ["no election before", "an election before, on record", "one that was loaded"])
def test_a_week_takes_as_many_statements_however_much_there_is_to_count(database: Database, before: str) -> None:
    made = Year(requests=300, voters=500, seed=1)
    if before == "one that was loaded":
        made.store(database)
    else:
        made.rows = {table: rows for table, rows in made.rows.items() if table.__name__ != "PastRequest"}
        made.store(database)
    if before == "an election before, on record":
        with database.write() as session:
            begun = datetime(2029, 1, 1, tzinfo=UTC)
            session.add(Election(id="2029", name="Primary", held_on=date(2029, 6, 26), created_at=begun))
    counts = set()
    for monday in (FIRST, LATE_SUMMER, date(2032, 2, 2)):
        with asked(database) as found, database.read() as session:
            week = Stretch(ELECTION, monday, monday + timedelta(days=6), ZONE, now=LATER).week(session)
        assert (week.earlier is None) == (before == "no election before")
        counts.add(_statements(found))
    earlier = ["2029"] if before == "an election before, on record" else []
    for election in (ELECTION, *earlier):
        roll_forward(database, election, ZONE)
    with asked(database) as found, database.read() as session:
        Stretch(ELECTION, FIRST, FIRST + timedelta(days=300), ZONE, now=LATER).week(session)
    assert max(counts) == MOST - 1 + len(earlier)  # nothing is added up: all is read from the ledgers
    assert _statements(found) == MOST + 2 * len(earlier)


def test_a_decision_of_a_message_about_several_voters_counts_once_as_a_reading(year: Database) -> None:
    """Two people in one message: two decisions, and one claim of what the message asks."""
    days = (ELECTION, LATE_SUMMER, LATE_SUMMER + timedelta(days=6), ZONE)
    with year.read() as session:
        before = Stretch(*days, now=LATER).week(session)
        one = next(
            r
            for r in session.query(Request).filter(Request.decision == Request.proposal, Request.decided_by == "ada")
            if LATE_SUMMER < r.decided_at.date() < LATE_SUMMER + timedelta(days=6)  # type: ignore[union-attr]
        )
        copied = {c.name: getattr(one, c.name) for c in Request.__table__.columns if c.name not in ("id", "place")}
    with year.write() as session:
        session.add(Request(**copied | {"id": 10_000, "place": 1, "voided_ballot": None, "issued_ballot": None}))
    with year.read() as session:
        after = Stretch(*days, now=LATER).week(session)

    def readings(week: Any) -> int:
        return sum(one.claims for one in week.machine.bins if one.what == "kind")

    assert after.decisions == before.decisions + 1
    assert readings(after) == readings(before)
