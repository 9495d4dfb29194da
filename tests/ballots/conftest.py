"""An invented office to test with: one election, and voters with a ballot each."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from itertools import count

import pytest

from replacements.store.database import Database
from replacements.store.tables import Ballot, Election, VoterRow

ELECTION = "2031-11-04-general"
NOON = datetime(2031, 10, 6, 12, 0, tzinfo=UTC)


@pytest.fixture
def clock() -> Callable[[], datetime]:
    """Each call is a minute later."""
    minutes = count()
    return lambda: NOON + timedelta(minutes=next(minutes))


@pytest.fixture
def office(database: Database) -> Database:
    """Three voters, V1 to V3, with a ballot each, 1001 to 1003, issued and mailed."""
    with database.write() as session:
        session.add(Election(id=ELECTION, name="General election", held_on=date(2031, 11, 4), created_at=NOON))
        session.flush()
        for place in (1, 2, 3):
            session.add(VoterRow(voter_id=f"V{place}", last_name=f"Last{place}", first_name="First", style="A"))
            session.add(
                Ballot(
                    number=f"{1000 + place}",
                    election_id=ELECTION,
                    voter_id=f"V{place}",
                    style="A",
                    state="issued",
                    mailed_on=date(2031, 9, 22),
                )
            )
    return database
