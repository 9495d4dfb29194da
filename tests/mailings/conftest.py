"""An invented office with voters whose ballots wait for a mailing."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from sqlalchemy.orm import Session

from replacements.mailings.queue import queue_packet
from replacements.rules.office import Rules, load_rules
from replacements.store.database import Database
from replacements.store.tables import Ballot, Election, Packet, VoterRow

ELECTION = "2026-11-03-general-election"
MORNING = datetime(2026, 10, 14, 13, 0, tzinfo=UTC)  # 9 am in the office; the cut-off is 2:30 pm


@pytest.fixture(scope="session")
def rules() -> Rules:
    return load_rules(Path(__file__).parent.parent / "rules" / "saltgrass.toml")


@pytest.fixture
def office(database: Database) -> Database:
    """A database with the election in it."""
    with database.write() as session:
        session.add(
            Election(id=ELECTION, name="General election", held_on=date(2026, 11, 3), created_at=MORNING),
        )
    return database


Enrol = Callable[..., VoterRow]
Queue = Callable[..., Packet]


@pytest.fixture
def enrol() -> Enrol:
    """Put a voter on the roll; every column may be given."""

    def _enrol(session: Session, voter_id: str, **columns: object) -> VoterRow:
        usual: dict[str, object] = {
            "first_name": "Wren",
            "last_name": "Halloway",
            "street": "12 Tidewater Lane",
            "city": "Eelpoint",
            "state": "NC",
            "zip": "27998",
            "precinct": "03",
            "style": "07-A",
            "language": "en",
        }
        voter = VoterRow(voter_id=voter_id, **{**usual, **columns})
        session.add(voter)
        session.flush()
        return voter

    return _enrol


@pytest.fixture
def queue(rules: Rules, enrol: Enrol) -> Queue:
    """Enrol a voter, issue a replacement with this number (None: materials alone) and queue the packet."""

    def _queue(session: Session, number: str | None, at: datetime = MORNING, **columns: object) -> Packet:
        voter = enrol(session, f"voter-of-{number or at.isoformat()}", **columns)
        if number is not None:
            session.add(
                Ballot(number=number, election_id=ELECTION, voter_id=voter.voter_id, style=voter.style, state="issued")
            )
            session.flush()
        return queue_packet(
            session,
            election_id=ELECTION,
            rules=rules,
            at=at,
            request_id=None,
            voter_id=voter.voter_id,
            ballot_number=number,
            contents=rules.mailing.contents,
        )

    return _queue
