"""A small office at work: its rules adopted, a few voters, their ballots, and mails as they would come in."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from email.message import EmailMessage
from email.utils import format_datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import select

from replacements.ballots.importing import import_ballots
from replacements.requests import intake, office
from replacements.roll.importing import import_roll
from replacements.store.database import Database
from replacements.store.tables import Ballot, Request

ZONE = ZoneInfo("America/New_York")
MONDAY = datetime(2026, 10, 5, 9, 30, tzinfo=ZONE)
RULES = (Path(__file__).parents[1] / "rules" / "saltgrass.toml").read_text(encoding="utf-8")

FILES = Path(__file__).parent / "files"


@dataclass
class OfficeAtWork:
    """What tests do with the office."""

    database: Database
    election_id: str
    mails: int = 0

    def receive(
        self,
        text: str,
        *,
        sender: str = "Ada Quillfeather <ada.q@post.example>",
        subject: str = "my ballot",
        at: datetime = MONDAY,
        answers: str = "",
        verified: str = "pass",
        headers: dict[str, str] | None = None,
    ) -> list[Request]:
        """A mail comes in and is read. Returns its requests."""
        self.mails += 1
        message = EmailMessage()
        message["Authentication-Results"] = f"mx.saltgrass.example; spf={verified}; dkim={verified}; dmarc={verified}"
        message["Received"] = f"from mail.post.example by mx.saltgrass.example; {format_datetime(at)}"
        message["From"] = sender
        message["To"] = "ballots@saltgrass.example"
        message["Subject"] = subject
        message["Date"] = format_datetime(at)
        message["Message-ID"] = f"<mail-{self.mails}@post.example>"
        if answers:
            message["In-Reply-To"] = message["References"] = answers
        for name, value in (headers or {}).items():
            message[name] = value
        message.set_content(text)
        return self.receive_raw(message.as_bytes(), at=at)

    def receive_raw(self, raw: bytes, *, at: datetime = MONDAY) -> list[Request]:
        kept = intake.keep(self.database, raw, source="test", validity="1", uid=str(self.mails), at=at)
        intake.read_one(self.database, kept.message_id, now=at)
        with self.database.read() as session:
            found = session.scalars(
                select(Request).where(Request.message_id == kept.message_id).order_by(Request.place)
            ).all()
            return list(found)

    def spoiled_by_ada(self, **more: object) -> Request:
        """The plain case: one voter, all facts, a spoiled ballot."""
        text = (
            "Hello, I filled in the wrong oval and then spilled tea over my ballot. Please send me another one.\n\n"
            "Ada Quillfeather\n14 Otter Bank Rd, Eelpoint\nborn March 7, 1958\n"
        )
        (request,) = self.receive(text, **more)  # type: ignore[arg-type]
        return request

    def request(self, request_id: int) -> Request:
        with self.database.read() as session:
            found = session.get_one(Request, request_id)
            return found

    def ballots(self, voter_id: str) -> dict[str, str]:
        """number -> state"""
        with self.database.read() as session:
            return {b.number: b.state for b in session.scalars(select(Ballot).where(Ballot.voter_id == voter_id))}


def set_up(database: Database, *, adopted: bool = True, rules: str = RULES) -> OfficeAtWork:
    """An office in this database."""
    with database.write() as session:
        force = office.load(session, rules, at=MONDAY)
        if adopted:
            office.adopt(session, official="the registrar", by="test", at=MONDAY)
        import_roll(session, FILES / "roll.csv")
        import_ballots(session, FILES / "ballots.csv", election_id=force.election_id, at=MONDAY)
    return OfficeAtWork(database, force.election_id)


@pytest.fixture
def county() -> Callable[..., OfficeAtWork]:
    """Sets an office up in a database."""
    return set_up


@pytest.fixture
def at_work(database: Database, county: Callable[[Database], OfficeAtWork]) -> OfficeAtWork:
    """The office on SQLite and on PostgreSQL."""
    return county(database)


@pytest.fixture
def on_sqlite(sqlite_database: Database, county: Callable[[Database], OfficeAtWork]) -> OfficeAtWork:
    return county(sqlite_database)
