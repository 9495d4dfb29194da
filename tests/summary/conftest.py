"""A week to count: requests, ballots, events and mailings put on record by hand."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from hashlib import sha256
from itertools import count
from typing import Any

import pytest
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from replacements.store.database import Database
from replacements.store.senders import account_of
from replacements.store.tables import Ballot, Election, LedgerEntry, Mailing, Message, Packet, Request
from replacements.summary.control import Point
from replacements.summary.figures import (
    Columns,
    Day,
    Declined,
    Repeated,
    SharedAddress,
    Speed,
    Unusual,
    Waiting,
    Week,
)

ELECTION = "2031-11-04-general"
ZONE = "America/New_York"
MONDAY = date(2031, 12, 29)
NOTE = "Sam Doe of 1 Main St called"


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
            "mail_account": account_of(message.sender),
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
                received_at=request.received_at,
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


@pytest.fixture
def busy() -> Week:
    days = tuple(Day(MONDAY + timedelta(days=n), n, 1, 1000, Point(9.5 if n == 2 else 1.0, 0.0, 5.0)) for n in range(7))
    return Week(
        election_id="e",
        first=MONDAY,
        last=MONDAY + timedelta(days=6),
        zone="America/New_York",
        as_of=datetime(2032, 1, 5, 5, tzinfo=UTC),
        messages=30,
        requests=21,
        by_kind={"spoiled_ballot": 20, "question": 1},
        reissues=7,
        reissues_by_cause={"spoiled": 7},
        reissues_by_style={"=1+1": 7},
        taken_back=1,
        speed=Speed(7, 6, 6 / 7, (0.49, 0.97), 20.4, 60.0, (11,)),
        waiting_in_all=2,
        waiting=(Waiting(12, "read", "waiting", 75.0, True), Waiting(13, "reissue", "second", 2.0, False)),
        asked=1,
        declined=(Declined(14, "reissue", "declined", NOTE),),
        voided=7,
        suspended=0,
        voided_by_reason={"spoiled": 7},
        this_week=Columns(9, 7, 3, 2, 0),
        to_date=Columns(19, 17, 13, 12, 1),
        mean_rate=1.2,
        days=days,
        unusual=Unusual((SharedAddress(3, (1, 2, 5)),), (Repeated("V1", 3),), ("1001",)),
        decisions=8,
        overrides={("reissue", "come_in"): 2},
        replies_sent=8,
        replies_failed=1,
    )


@pytest.fixture
def quiet(busy: Week) -> Week:
    nothing = Columns(0, 0, 0, 0, 0)
    return replace(
        busy, requests=0, by_kind={}, reissues=0, reissues_by_cause={}, reissues_by_style={}, taken_back=0,
        speed=Speed(0, 0, None, None, None, None, ()), waiting=(), declined=(), voided=0, voided_by_reason={},
        this_week=nothing, to_date=nothing, mean_rate=None, unusual=Unusual((), (), ()), overrides={}, replies_failed=0,
        days=tuple(replace(day, requests=0, reissues=0, out=0, rate=None) for day in busy.days),
    )  # fmt: skip
