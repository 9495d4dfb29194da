"""A week to count: requests, ballots, events and mailings put on record by hand."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from hashlib import sha256
from itertools import count
from typing import Any

import pytest
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from replacements.store.database import Database
from replacements.store.tables import Ballot, Election, LedgerEntry, Mailing, Message, Packet, Request

ELECTION = "2031-11-04-general"
ZONE = "America/New_York"


class Records:
    """Short ways to put things on record. Times are aware."""

    def __init__(self, session: Session) -> None:
        self.session = session
        self.numbers = count(1)
        self.mailings: dict[date, Mailing] = {}

    def done(self) -> None:
        """From here on others see it."""
        self.session.commit()

    def request(self, received: datetime, *, sender: str = "", **entries: Any) -> Request:
        number = next(self.numbers)
        message = Message(
            fingerprint=f"f{number}",
            sender=sender or f"s{number}@mail.example",
            arrived_at=received,
            stored_at=received,
        )
        self.session.add(message)
        self.session.flush()
        defaults: dict[str, Any] = {
            "election_id": ELECTION,
            "message_id": message.id,
            "kinds": ["spoiled_ballot"],
            "proposal": "reissue",
            "reasons": [],
            "judged": {},
            "received_at": received,
        }
        request = Request(**(defaults | entries))
        self.session.add(request)
        self.session.flush()
        return request

    def ballot(self, number: str, voter: str, **entries: Any) -> Ballot:
        defaults: dict[str, Any] = {"election_id": ELECTION, "style": "A", "state": "issued"}
        ballot = Ballot(number=number, voter_id=voter, **(defaults | entries))
        self.session.add(ballot)
        self.session.flush()
        return ballot

    def event(self, event: str, at: datetime, number: str | None, details: str) -> None:
        """An entry as the summary reads it; the chain is only as good as the table demands."""
        last = self.session.scalar(select(func.max(LedgerEntry.seq))) or 0
        before = self.session.scalar(select(LedgerEntry.hash).where(LedgerEntry.seq == last)) or "0" * 64
        self.session.add(
            LedgerEntry(
                seq=last + 1,
                at=at.astimezone(UTC).isoformat(timespec="microseconds"),
                event=event,
                election_id=ELECTION,
                ballot_number=number,
                by="x",
                details=details,
                prev_hash=before,
                hash=sha256(f"{last}".encode()).hexdigest(),
            )
        )
        self.session.flush()

    def mailed(self, request: Request, goes_on: date, at: datetime | None, state: str = "mailed") -> None:
        mailing = self.mailings.get(goes_on)
        if mailing is None:
            mailing = Mailing(election_id=ELECTION, goes_on=goes_on, state="mailed" if at else "open", mailed_at=at)
            self.session.add(mailing)
            self.session.flush()
            self.mailings[goes_on] = mailing
        self.session.add(
            Packet(
                mailing_id=mailing.id,
                request_id=request.id,
                voter_id="V",
                contents=[],
                state=state,
                queued_at=request.received_at + timedelta(minutes=5),
            )
        )
        self.session.flush()


@pytest.fixture
def election(database: Database) -> Database:
    with database.write() as session:
        session.add(
            Election(
                id=ELECTION, name="General", held_on=date(2031, 11, 4), created_at=datetime(2031, 9, 1, tzinfo=UTC)
            )
        )
    return database


@pytest.fixture
def records(election: Database) -> Iterator[Records]:
    """Puts things on record; `done()` makes them seen."""
    with Session(election.engine, expire_on_commit=False) as session:
        yield Records(session)
