"""A ballot whose statement lacks something: it waits to be cured, and its voter is told what is missing.

The voter is told by mail to the address on file, in the same transaction that challenges the ballot. Where there is no
address that may be used, the list says so: a clerk calls or writes.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from replacements.ballots import ledger, life
from replacements.replies import outbox
from replacements.replies.texts import ReplyFacts, render
from replacements.requests.office import InForce
from replacements.roll.stored import StoredRoll
from replacements.store.tables import Ballot, LedgerEntry, Reply

TEXT = "complete_statement"
ASKED = "cure_asked"


@dataclass(frozen=True, slots=True)
class Cure:
    """One ballot that waits. `told`: as a reply's state, `returned` for one that came back, "" where no mail went."""

    number: str
    lacking: tuple[str, ...]
    since: datetime | None
    told: str


def challenge(
    session: Session, number: str, lacking: Sequence[str], force: InForce, *, by: str, at: datetime
) -> int | None:
    """Challenge a returned ballot for what its statement lacks, and tell the voter; returns the reply's number, None
    where no mail can go.

    `lacking`: of `Statement.parts`, as the office's rules have them. On the ledger: `challenged`, and `cure_asked` with
    how the voter was told. Raises NotPossible where the ballot is not one that has come back, ValueError without a part
    that the rules know.
    """
    known = [part for part in force.rules.statement.parts if part in lacking]
    if not known:
        raise ValueError("Say what the statement lacks.")
    ballot = life.challenge(session, number=number, reason=", ".join(known), by=by, at=at)
    seq = session.scalars(select(func.max(LedgerEntry.seq)).where(LedgerEntry.ballot_number == ballot.number)).one()
    reply = _tell(session, ballot, known, force, seed=f"cure/{ballot.number}/{seq}", at=at)
    ledger.append(
        session,
        event=ASKED,
        election_id=ballot.election_id,
        by=by,
        at=at,
        ballot_number=ballot.number,
        voter_id=ballot.voter_id,
        details={"lacking": known, "told": "mail" if reply else "no", "reply": reply},
    )
    return reply


def waiting(session: Session, election_id: str, *, start: int = 0, most: int = 100) -> tuple[Sequence[Cure], int]:
    """The ballots that wait to be cured, those that came back first before others, and how many there are in all."""
    here = (Ballot.election_id == election_id, Ballot.state == "challenged")
    total = session.scalar(select(func.count()).select_from(Ballot).where(*here)) or 0
    numbers = session.scalars(
        select(Ballot.number).where(*here).order_by(Ballot.returned_on, Ballot.number).offset(start).limit(most)
    ).all()
    entries: dict[tuple[str, str], LedgerEntry] = {}
    for entry in session.scalars(
        select(LedgerEntry)
        .where(
            LedgerEntry.ballot_number.in_(numbers),
            LedgerEntry.event.in_(("challenged", "import_changed", "imported", ASKED)),
        )
        .order_by(LedgerEntry.seq)
    ):
        entries[entry.ballot_number or "", "asked" if entry.event == ASKED else "challenged"] = entry
    found = []
    for number in numbers:
        since, asked = entries.get((number, "challenged")), entries.get((number, "asked"))
        if asked is not None and since is not None and asked.seq < since.seq:
            asked = None  # that was another time
        details = json.loads(asked.details) if asked is not None else {}
        reply = session.get(Reply, details["reply"]) if details.get("reply") else None
        at = datetime.fromisoformat(since.at) if since is not None else None
        told = "" if reply is None else "returned" if reply.returned_at is not None else reply.state
        found.append(Cure(number, tuple(details.get("lacking", ())), at, told))
    return found, total


def _tell(
    session: Session, ballot: Ballot, lacking: Sequence[str], force: InForce, *, seed: str, at: datetime
) -> int | None:
    voter = StoredRoll(session).voter(ballot.voter_id)
    if voter is None or voter.protected or not voter.email.strip():
        return None
    rendered = render(
        TEXT,
        voter.language or "en",
        ReplyFacts(
            rules=force.rules,
            adopted=force.adopted,
            voter_name=voter.full_name,
            on_file=True,
            overseas=voter.overseas,
            ballot_number=ballot.number,
            lacking=tuple(lacking),
        ),
    )
    try:
        return outbox.queue(
            session,
            election_id=ballot.election_id,
            request_id=None,
            rendered=rendered,
            to=voter.email,
            in_reply_to="",
            references="",
            domain=force.rules.office.address.rpartition("@")[2],
            seed=seed,
            at=at,
        )
    except outbox.UnusableAddress:
        return None
