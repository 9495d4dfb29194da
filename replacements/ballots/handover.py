"""Voids and reissues, handed back to the office's own system as CSV.

Each hand-over has a running number and covers the ledger from where the last one ended: every event is in exactly one
of them. It is recorded on the ledger with the SHA-256 of the file, so that it can be made again, byte for byte, by its
number. It also states the ledger's length and head, which `ledger.verify` takes as an anchor.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from replacements.ballots.ledger import BEFORE_THE_FIRST, append, moment
from replacements.store.csv_text import csv_text
from replacements.store.database import lock_ledger
from replacements.store.tables import LedgerEntry

COLUMNS = ("ballot_number", "voter_id", "event", "reason", "replaced_by", "at", "by")
EVENTS = ("voided", "suspended", "reissued", "reinstated", "return_undone")
HANDED_OVER = "handed_over"
_WHY = {"reinstated": "replacement cancelled", "return_undone": "return of the original undone"}


class NoSuchHandOver(Exception):
    """There is no hand-over of that number, or what was handed over can no longer be made the same."""


@dataclass(frozen=True, slots=True)
class HandOver:
    """One hand-over. `first` and `last` are the ledger entries that it covers; `head` is the hash of the last."""

    number: int
    text: str
    events: int
    first: int
    last: int
    head: str

    @property
    def file_name(self) -> str:
        return f"handover-{self.number:05d}.csv"


def hand_over(session: Session, election_id: str, *, by: str, at: datetime, since: datetime | None = None) -> HandOver:
    """Make the next hand-over, and record it. Without `since` it holds everything after the last hand-over.

    With `since` it begins at that time, whether or not those events were handed over before. One without events is
    recorded too: it says that nothing happened.
    """
    session.flush()
    lock_ledger(session)
    earlier = _earlier(session, election_id)
    last, head = session.execute(
        select(LedgerEntry.seq, LedgerEntry.hash).order_by(LedgerEntry.seq.desc()).limit(1)
    ).first() or (0, BEFORE_THE_FIRST)
    if since is None:
        first = earlier[-1]["last"] + 1 if earlier else 1
    else:
        after = select(func.min(LedgerEntry.seq)).where(LedgerEntry.at >= moment(since))
        first = session.scalar(after) or last + 1
    text, events = _text(session, election_id, first, last)
    number = earlier[-1]["number"] + 1 if earlier else 1
    made = HandOver(number, text, events, first, last, head)
    details = {
        "number": number,
        "first": first,
        "last": last,
        "events": events,
        "head": head,
        "sha256": sha256(text.encode()).hexdigest(),
    }
    append(session, event=HANDED_OVER, election_id=election_id, by=by, at=at, details=details)
    return made


def repeat(session: Session, election_id: str, number: int) -> HandOver:
    """The hand-over of that number again, byte for byte. Raises NoSuchHandOver where it is not on the ledger."""
    for made in _earlier(session, election_id):
        if made["number"] == number:
            text, events = _text(session, election_id, made["first"], made["last"])
            if sha256(text.encode()).hexdigest() != made["sha256"]:
                raise NoSuchHandOver(f"Hand-over {number} can no longer be made the same: verify the ledger.")
            return HandOver(number, text, events, made["first"], made["last"], made["head"])
    raise NoSuchHandOver(f"There is no hand-over {number} of this election.")


def _earlier(session: Session, election_id: str) -> list[dict[str, Any]]:
    entries = session.scalars(
        select(LedgerEntry.details)
        .where(LedgerEntry.event == HANDED_OVER, LedgerEntry.election_id == election_id)
        .where(LedgerEntry.ballot_number.is_(None))
        .order_by(LedgerEntry.seq)
    )
    return [json.loads(details) for details in entries]


def _text(session: Session, election_id: str, first: int, last: int) -> tuple[str, int]:
    entries = session.scalars(
        select(LedgerEntry)
        .where(LedgerEntry.seq.between(first, last), LedgerEntry.election_id == election_id)
        .where(LedgerEntry.event.in_(EVENTS))
        .order_by(LedgerEntry.seq)
    )
    rows = []
    for entry in entries:
        details = json.loads(entry.details)
        if entry.event == "return_undone" and details.get("from") != "voided":
            continue  # only a void that was undone is news to the office's own system
        reason = details.get("reason", _WHY.get(entry.event, ""))
        replaced_by = details.get("replaced_by", "")
        rows.append((entry.ballot_number, entry.voter_id, entry.event, reason, replaced_by, entry.at, entry.by))
    return csv_text(COLUMNS, rows), len(rows)
