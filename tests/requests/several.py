"""A primary whose late ballots still come in while the general election's are out: two elections of one office."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

from replacements.ballots.importing import import_ballots
from replacements.requests import choosing, deciding, office
from replacements.requests.deciding import Outcome
from replacements.store.database import Database
from replacements.store.tables import Ballot, Reply, Request
from tests.requests.conftest import MONDAY, RULES, OfficeAtWork

# The primary was on September 29; ballots postmarked by then count until October 9. The day of the tests is October 5.
PRIMARY = (
    RULES.replace('name = "General election"', 'name = "Primary election"')
    .replace("date = 2026-11-03", "date = 2026-09-29")
    .replace("packets_from = 2026-09-18", "packets_from = 2026-08-14")
    .replace("last_request_by_mail = 2026-10-27T17:00:00", "last_request_by_mail = 2026-09-22T17:00:00")
    .replace("last_in_person = 2026-10-31T15:00:00", "last_in_person = 2026-09-26T15:00:00")
    .replace("return_by = 2026-11-03T19:30:00", "return_by = 2026-09-29T19:30:00")
    .replace("grace_until = 2026-11-06T17:00:00", "grace_until = 2026-10-09T17:00:00")
    .replace("last_request_by_mail = 2026-11-02T17:00:00", "last_request_by_mail = 2026-09-28T17:00:00")
    .replace("grace_until = 2026-11-12T17:00:00", "grace_until = 2026-10-14T17:00:00")
    .replace("open = 2026-10-15", "open = 2026-09-01")
    .replace("close = 2026-10-31", "close = 2026-09-26")
    .replace('number_prefix = "8"', 'number_prefix = "6"')
    .replace("extra_closed = [2026-10-16]", "extra_closed = []")
)
# A runoff three weeks before the general election: both may still be asked for by mail.
RUNOFF = (
    PRIMARY.replace('name = "Primary election"', 'name = "Runoff election"')
    .replace("2026-09-29", "2026-10-20")
    .replace("2026-09-22", "2026-10-16")
    .replace("2026-09-26", "2026-10-17")
    .replace("2026-09-28", "2026-10-19")
    .replace("grace_until = 2026-10-09", "grace_until = 2026-10-23")
    .replace("grace_until = 2026-10-14", "grace_until = 2026-10-26")
)
ADA, BRAM = "61000001", "61000002"
SPOILED = (
    "Hello, I filled in the wrong oval and then spilled tea over my {ballot}. Please send me another one.\n\n"
    "Ada Quillfeather\n14 Otter Bank Rd, Eelpoint\nborn March 7, 1958\n"
)


def open_beside(at_work: OfficeAtWork, rules: str, *ballots: str, tmp_path: Path) -> str:
    """Another election of the office, adopted, with ballots as lines of a file. Returns its id."""
    file = tmp_path / "ballots_of_another_election.csv"
    head = "ballot_number,voter_id,style,state,mailed_on,returned_on,replaces,void_reason"
    file.write_text("\n".join([head, *ballots]) + "\n", encoding="utf-8")
    with at_work.database.write() as session:
        force = office.load(session, rules, at=MONDAY)
        office.adopt(session, official="the registrar", by="test", at=MONDAY, election_id=force.election_id)
        import_ballots(session, file, election_id=force.election_id, at=MONDAY)
    return force.election_id


def from_ada(at_work: OfficeAtWork, text: str = SPOILED.format(ballot="ballot"), **more: Any) -> Request:
    (request,) = at_work.receive(text, **more)
    return request


def approve(at_work: OfficeAtWork, request: Request, *, at: datetime = MONDAY, **more: Any) -> Outcome:
    return deciding.approve(
        at_work.database, request.id, version=request.version, by="clara", roles=("clerk",), at=at, **more
    )


def choose(at_work: OfficeAtWork, request: Request, *elections: str, at: datetime = MONDAY) -> list[int]:
    return choosing.choose(
        at_work.database, request.id, version=request.version, elections=elections, by="clara", at=at
    )


def reply_to(database: Database, request_id: int) -> Reply:
    with database.read() as session:
        return session.query(Reply).filter_by(request_id=request_id).order_by(Reply.id.desc()).first()  # type: ignore[return-value]


def states(at_work: OfficeAtWork, voter_id: str, election_id: str) -> dict[str, str]:
    """number -> state of a voter's ballots in one election"""
    with at_work.database.read() as session:
        return {b.number: b.state for b in session.query(Ballot).filter_by(voter_id=voter_id, election_id=election_id)}
