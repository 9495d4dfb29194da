"""The return desk's working list: each scan once, however often its page sends it, and the counts of a list.

A page that loses the connection cannot know whether its last number arrived, and sends it again under the same key: the
answer of the first time comes back, and nothing is recorded twice.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import datetime
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from replacements.ballots import life, undoing
from replacements.ballots.desk import NO_RULES, DeskAnswer, DeskRules, brought_back, receive
from replacements.store.database import Database
from replacements.store.tables import DeskScan, LedgerEntry

KINDS = ("live", "again", "stop", "brought_back", "unknown", "misread")
LONGEST_KEY = 80


def take(
    database: Database,
    typed: str,
    *,
    key: str,
    election_id: str,
    by: str,
    at: datetime,
    rules: DeskRules = NO_RULES,
    scanned_at: datetime | None = None,
    post_reason: str = "",
    list_key: str | None = None,
    place: int = 0,
) -> DeskScan:
    """Record one scan, in a transaction of its own, and keep its answer; a key of this account that is there already
    gives the answer of then. With `post_reason` it is a packet that the post brought back. Raises NotPossible.
    """
    own = f"{by}/{key}"[: LONGEST_KEY + len(by)]
    for last_try in (False, True):
        try:
            with database.write() as session:
                there = session.scalars(select(DeskScan).where(DeskScan.key == own)).first()
                if there is not None:
                    return there
                if post_reason:
                    answer = brought_back(
                        session, typed, election_id=election_id, by=by, at=at, reason=post_reason, rules=rules
                    )
                else:
                    answer = receive(
                        session, typed, election_id=election_id, by=by, at=at, scanned_at=scanned_at, rules=rules
                    )
                scan = DeskScan(
                    key=own,
                    account=by,
                    at=at,
                    election_id=election_id,
                    ballot_number=answer.number if answer.voter_id is not None else None,
                    answer=kept(answer),
                    list_key=f"{by}/{list_key}" if list_key else None,
                    place=place,
                    ledger_seq=session.scalars(select(func.max(LedgerEntry.seq))).one(),
                )
                session.add(scan)
                session.flush()
                return scan
        except IntegrityError:  # sent twice at once: the other one is there now
            if last_try:
                raise
    raise AssertionError("unreachable")


def kept(answer: DeskAnswer) -> dict[str, Any]:
    """An answer as the list and the page keep it: without the voter."""
    plain = asdict(answer) | {"kind": answer.kind, "lines": list(answer.lines)}
    del plain["voter_id"]
    return plain


def last_scans(session: Session, by: str, most: int) -> Sequence[DeskScan]:
    """What this account scanned, newest first."""
    return session.scalars(
        select(DeskScan).where(DeskScan.account == by).order_by(DeskScan.id.desc()).limit(most)
    ).all()


def of_list(session: Session, by: str, list_key: str) -> Sequence[DeskScan]:
    """One list's scans, in the order of the list."""
    return session.scalars(
        select(DeskScan).where(DeskScan.list_key == f"{by}/{list_key}").order_by(DeskScan.place)
    ).all()


def counts(scans: Sequence[DeskScan]) -> Mapping[str, int]:
    """How many scans had each answer; every scan is counted under one."""
    found = Counter(scan.answer["kind"] for scan in scans)
    return {kind: found[kind] for kind in KINDS}


def undo(database: Database, scan_id: int, *, reason: str, by: str, at: datetime) -> str:
    """Undo a scan, whoever made it; returns the number, for the page to say. Raises NotPossible, and LookupError."""
    with database.write() as session:
        scan = session.scalars(select(DeskScan).where(DeskScan.id == scan_id).with_for_update()).first()
        if scan is None:
            raise LookupError(f"There is no scan {scan_id}.")
        if scan.undone_seq is not None:
            raise life.NotPossible("This scan was undone before.")
        entry = session.get_one(LedgerEntry, scan.ledger_seq)
        scan.undone_seq = undoing.undo(session, entry, reason=reason, by=by, at=at).seq
        return str(scan.answer["number"])
