"""Undoing a scan of the return desk: the envelope was not the one that was scanned, or was no return at all.

Nothing is taken off the ledger: an entry more says what is undone, by whom and why. Only what nothing has been built on
can be undone: a ballot that was checked, accepted or replaced since is for a supervisor.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from replacements.ballots import life
from replacements.ballots.ledger import append
from replacements.store.tables import LIVE_STATES, Ballot, LedgerEntry

# The scans that changed something, or that later answers go by; and those that were only told and recorded.
CHANGED = ("returned", "undeliverable", "returned_after_void")
TOLD = ("returned_again", "returned_unknown", "returned_misread", "brought_back")
_NO_CHANGE = ("returned_again", "returned_after_void", "brought_back", "scan_undone")


def undo(session: Session, entry: LedgerEntry, *, reason: str, by: str, at: datetime) -> LedgerEntry:
    """Undo the scan that this ledger entry records; returns the entry that does. `reason`: in words, no name in it.

    On the ledger: `return_undone` where a ballot goes back to where it was (`from`, `to`), and for a stop that later
    answers would speak of; `scan_undone` for what was only told. Raises NotPossible, changing nothing, where something
    happened to the ballot since, and ValueError without a reason.
    """
    if not reason.strip():
        raise ValueError("Say why it is undone.")
    details: dict[str, Any] = {"undone": entry.seq, "event": entry.event, "note": reason.strip()}
    if entry.event not in (*CHANGED, *TOLD):
        raise life.NotPossible("This is no scan of the return desk: it cannot be undone there.")
    if entry.ballot_number is None:
        return _append(
            session, "scan_undone", entry, by, at, {**details, "number": json.loads(entry.details)["number"]}
        )
    ballot = life.locked(session, entry.ballot_number)
    if _undone(session, entry):
        raise life.NotPossible(f"This scan of ballot {ballot.number} was undone before.")
    details["style"] = ballot.style
    if entry.event in TOLD:
        return _append(session, "scan_undone", entry, by, at, details)
    said = json.loads(entry.details)
    if entry.event == "returned_after_void":
        if ballot.state not in ("voided", "suspended"):
            raise life.NotPossible(f"Ballot {ballot.number} {life.in_words(ballot)}: this scan cannot be undone now.")
        return _append(session, "return_undone", entry, by, at, details)
    if ballot.state != entry.event or _newest_change(session, ballot) != entry.seq:
        raise life.NotPossible(
            f"Ballot {ballot.number} {life.in_words(ballot)}, and something happened to it after this scan: "
            "a supervisor must look at it."
        )
    before = str(said["from"])
    if before == "suspended":
        details |= _give_back(session, ballot, said, entry, reason, by, at)
    ballot.state = before
    if entry.event == "returned":
        ballot.returned_on = None
    session.flush()
    return _append(session, "return_undone", entry, by, at, {**details, "from": entry.event, "to": before})


def _give_back(
    session: Session,
    original: Ballot,
    said: Mapping[str, Any],
    entry: LedgerEntry,
    reason: str,
    by: str,
    at: datetime,
) -> dict[str, Any]:
    """The original was not back: the replacement that this return voided lives again, unless its packet was pulled."""
    number = said.get("instead_of")
    if number is None:  # nothing was voided: the original goes back to being suspended, as it was
        return {}
    replacement = session.get_one(Ballot, number)
    voided = session.scalars(
        select(LedgerEntry)
        .where(LedgerEntry.ballot_number == number, LedgerEntry.event == "voided", LedgerEntry.seq < entry.seq)
        .order_by(LedgerEntry.seq.desc())
        .limit(1)
    ).one()
    how = json.loads(voided.details)
    if (
        replacement.state != "voided"
        or _newest_change(session, replacement) != voided.seq
        or how["from"] not in LIVE_STATES
    ):
        raise life.NotPossible(
            f"Replacement {number} is no longer as this return left it: a supervisor must look at it."
        )
    if how.get("packets_pulled"):
        raise life.NotPossible(
            f"This return also took replacement {number} out of its mailing, which the desk cannot put back: "
            "a supervisor must look at it."
        )
    original.state = "suspended"
    session.flush()  # before the replacement lives again: the database holds them to one
    replacement.state, replacement.void_reason = str(how["from"]), None
    session.flush()
    append(
        session,
        event="return_undone",
        election_id=replacement.election_id,
        by=by,
        at=at,
        ballot_number=number,
        voter_id=replacement.voter_id,
        details={
            "undone": voided.seq,
            "event": "voided",
            "from": "voided",
            "to": replacement.state,
            "note": reason.strip(),
            "style": replacement.style,
        },
    )
    return {"replaced_by": number}


def _newest_change(session: Session, ballot: Ballot) -> int | None:
    """The newest entry about this ballot that is more than a scan that changed nothing."""
    return session.scalar(
        select(LedgerEntry.seq)
        .where(LedgerEntry.ballot_number == ballot.number, LedgerEntry.event.not_in(_NO_CHANGE))
        .order_by(LedgerEntry.seq.desc())
        .limit(1)
    )


def _undone(session: Session, entry: LedgerEntry) -> bool:
    later = session.scalars(
        select(LedgerEntry.details).where(
            LedgerEntry.ballot_number == entry.ballot_number,
            LedgerEntry.event.in_(("return_undone", "scan_undone")),
            LedgerEntry.seq > entry.seq,
        )
    )
    return any(json.loads(details).get("undone") == entry.seq for details in later)


def _append(
    session: Session, event: str, entry: LedgerEntry, by: str, at: datetime, details: Mapping[str, Any]
) -> LedgerEntry:
    return append(
        session,
        event=event,
        election_id=entry.election_id,
        by=by,
        at=at,
        ballot_number=entry.ballot_number,
        voter_id=entry.voter_id,
        details=details,
    )
