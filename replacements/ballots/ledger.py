"""The ledger: one entry per event, each chained to the one before it by SHA-256. Nothing in it is changed or removed.

An entry's canonical form is JSON with sorted keys, without spaces, in UTF-8; its hash is SHA-256 over the hash before
it (64 hexadecimal digits; 64 zeros before the first) followed by the canonical form. `verify` reads the whole chain as
a stream and names the first entry that is not as it was written.

A chain alone cannot show that its newest entries were cut off. Whoever keeps a count and a head outside the database
(every hand-over file states both) can pass them to `verify` as an anchor.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from hashlib import sha256
from json.encoder import encode_basestring as quoted
from typing import Any

from sqlalchemy import Row, func, insert, select
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

from replacements.store.database import lock_ledger
from replacements.store.tables import LedgerEntry

BEFORE_THE_FIRST = "0" * 64
ROWS_AT_A_TIME = 5_000
_LAST = select(LedgerEntry.seq, LedgerEntry.hash).order_by(LedgerEntry.seq.desc()).limit(1)
_INSERT = insert(LedgerEntry.metadata.tables[LedgerEntry.__tablename__])


@dataclass(frozen=True, slots=True)
class Event:
    """One thing that happened, before it has its place in the chain. `details`: plain data, no name or address."""

    event: str
    election_id: str
    by: str
    at: datetime
    ballot_number: str | None = None
    voter_id: str | None = None
    details: Mapping[str, Any] | None = None


@dataclass(frozen=True, slots=True)
class End:
    """Where the chain ends: the number of the last entry and its hash; 0 and zeros before the first."""

    seq: int = 0
    hash: str = BEFORE_THE_FIRST


@dataclass(frozen=True, slots=True)
class Broken:
    """The first entry that is not as it was written. `how`: "changed", "removed" or "out of order".

    `since`: where a whole chain was calculated anew, the first entry that may be where that began; else 0.
    """

    seq: int
    how: str
    text: str
    since: int = 0


@dataclass(frozen=True, slots=True)
class Verdict:
    """What a verification found: entries read in good order, the hash of the last of them, and the first broken one."""

    entries: int
    head: str
    broken: Broken | None = None


def canonical(data: object) -> str:
    """JSON with sorted keys and no spaces; text stays as it is (the bytes are its UTF-8). Refuses NaN and infinity."""
    return json.dumps(data, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)


def chained(prev_hash: str, entry: str) -> str:
    """The hash of an entry: SHA-256 over the hash before it and the entry's canonical form, in hexadecimal."""
    return sha256(f"{prev_hash}{entry}".encode()).hexdigest()


def append(
    session: Session,
    *,
    event: str,
    election_id: str,
    by: str,
    at: datetime,
    ballot_number: str | None = None,
    voter_id: str | None = None,
    details: Mapping[str, Any] | None = None,
) -> LedgerEntry:
    """Add one entry to the end of the chain, in the caller's transaction; returns it as it was written.

    Takes the ledger lock: lock the rows that you need before, so that no two transactions wait for each other.
    """
    (row,) = _add(session, [Event(event, election_id, by, at, ballot_number, voter_id, details)])
    return LedgerEntry(**row)


def append_many(session: Session, events: Iterable[Event], *, after: End | None = None) -> int:
    """Add entries in the given order; returns how many. For imports and mailings: one statement for all of them.

    `after`: what `locked_end` gave in this transaction, where nothing was added since.
    """
    return len(_add(session, events, after))


def locked_end(session: Session) -> End:
    """The end of the chain, which nobody else can extend until the caller's transaction ends. Lock rows before."""
    session.flush()  # row locks first, the ledger last
    lock_ledger(session)
    last = session.execute(_LAST).first()
    return End(*last) if last else End()


def _add(session: Session, events: Iterable[Event], after: End | None = None) -> list[dict[str, Any]]:
    end = after or locked_end(session)
    session.flush()
    seq, head = end.seq, end.hash
    rows: list[dict[str, Any]] = []
    for item in events:
        if item.at.tzinfo is None:
            raise ValueError("a time without a zone cannot go on the ledger")
        seq += 1
        row: dict[str, Any] = {
            "seq": seq,
            "at": moment(item.at),
            "event": item.event,
            "election_id": item.election_id,
            "ballot_number": item.ballot_number,
            "voter_id": item.voter_id,
            "by": item.by,
            "details": canonical(dict(item.details or {})),
            "prev_hash": head,
        }
        head = chained(head, _entry(**{name: value for name, value in row.items() if name != "prev_hash"}))
        row["hash"] = head
        rows.append(row)
    if rows:
        session.connection().execute(_INSERT, rows)
    return rows


def moment(at: datetime) -> str:
    """A time as the ledger writes it: ISO 8601 in UTC with six decimals, so that text order is time order."""
    return at.astimezone(UTC).isoformat(timespec="microseconds")


def canonical_entry(row: LedgerEntry) -> str:
    """The text that an entry's hash is over, after the hash before it."""
    return _entry(
        seq=row.seq,
        at=row.at,
        event=row.event,
        election_id=row.election_id,
        ballot_number=row.ballot_number,
        voter_id=row.voter_id,
        by=row.by,
        details=row.details,
    )


def _entry(
    *,
    seq: int,
    at: str,
    event: str,
    election_id: str,
    ballot_number: str | None,
    voter_id: str | None,
    by: str,
    details: str,
) -> str:
    """The canonical form. `details` is canonical JSON already; put in as it is, a re-spaced copy does not pass."""
    ballot = "null" if ballot_number is None else quoted(ballot_number)
    voter = "null" if voter_id is None else quoted(voter_id)
    return (
        f'{{"at":{quoted(at)},"ballot_number":{ballot},"by":{quoted(by)},"details":{details},'
        f'"election_id":{quoted(election_id)},"event":{quoted(event)},"seq":{seq},"voter_id":{voter}}}'
    )


_COLUMNS: tuple[Any, ...] = (
    LedgerEntry.seq,
    LedgerEntry.at,
    LedgerEntry.event,
    LedgerEntry.election_id,
    LedgerEntry.ballot_number,
    LedgerEntry.voter_id,
    LedgerEntry.by,
    LedgerEntry.details,
    LedgerEntry.prev_hash,
    LedgerEntry.hash,
)


def verify(
    session: Session, *, anchor: tuple[int, str] | None = None, rungs: Iterable[tuple[int, str]] = ()
) -> Verdict:
    """Read the whole chain and name the first broken entry.

    `anchor` is a count of entries and the head at that count, kept outside the database: with it, entries cut off the
    end (or a chain that was calculated anew as a whole) are found too. `rungs` are more of them, from the same hand:
    the closer they stand, the closer a chain that was calculated anew is told to the entry where that begins.
    """
    kept = dict(rungs) | (dict([anchor]) if anchor else {})
    reading = _Reading(kept)
    rows = session.execute(select(*_COLUMNS).order_by(LedgerEntry.seq), execution_options={"yield_per": ROWS_AT_A_TIME})
    try:
        for row in rows:
            if not reading.follows(*row):
                rows.close()
                return Verdict(reading.entries, reading.head, reading.how(session, row))
    except (DBAPIError, UnicodeError):  # bytes that are no text: what cannot be read is found one by one
        session.rollback()
        return _one_by_one(session, reading)
    return reading.end()


def _one_by_one(session: Session, reading: _Reading) -> Verdict:
    """The same, an entry at a time, from where the reading stands: names an entry that the database cannot hand out."""
    for seq in session.scalars(select(LedgerEntry.seq).where(LedgerEntry.seq > reading.entries)).all():
        try:
            row = session.execute(select(*_COLUMNS).where(LedgerEntry.seq == seq)).one()
        except (DBAPIError, UnicodeError):
            session.rollback()
            text = f"Entry {seq} is not as it was written: it holds bytes that are no text."
            return Verdict(reading.entries, reading.head, Broken(seq, "changed", text))
        if not reading.follows(*row):
            return Verdict(reading.entries, reading.head, reading.how(session, row))
    return reading.end()


class _Reading:
    """How far the chain was read and found in order, and what is to be found on the way (`kept`: hash by number)."""

    __slots__ = ("entries", "head", "kept", "last_kept", "missed")

    def __init__(self, kept: Mapping[int, str]) -> None:
        self.entries, self.head = 0, BEFORE_THE_FIRST
        self.kept, self.last_kept, self.missed = kept, 0, False

    def follows(
        self,
        seq: int,
        at: str,
        event: str,
        election: str,
        ballot: str | None,
        voter: str | None,
        by: str,
        details: str,
        prev_hash: str,
        own_hash: str,
    ) -> bool:
        """Whether this entry is whole and is the next one. `details` is put in as it stands, see `_entry`."""
        try:
            ballot_json = "null" if ballot is None else quoted(ballot)
            voter_json = "null" if voter is None else quoted(voter)
            entry = (
                f'{prev_hash}{{"at":{quoted(at)},"ballot_number":{ballot_json},"by":{quoted(by)},"details":{details},'
                f'"election_id":{quoted(election)},"event":{quoted(event)},"seq":{seq},"voter_id":{voter_json}}}'
            )
        except TypeError:  # a number or bytes where text stood
            return False
        if sha256(entry.encode()).hexdigest() != own_hash or prev_hash != self.head or seq != self.entries + 1:
            return False
        if seq in self.kept:
            if self.kept[seq] != own_hash:
                self.missed = True
                return False
            self.last_kept = seq
        self.entries, self.head = seq, own_hash
        return True

    def how(self, session: Session, row: Row[*tuple[Any, ...]]) -> Broken:
        """What is the matter with the entry that did not follow."""
        if self.missed:
            since = self.last_kept + 1
            where = f"Entry {row.seq} is" if since == row.seq else f"The entries {since} to {row.seq} are"
            text = (
                f"{where} not what was on record: the hash of entry {row.seq} was {self.kept[row.seq]}, "
                f"now it is {row.hash}. Whoever changed it calculated every later hash anew."
            )
            return Broken(row.seq, "changed", text, since=since)
        return _how(session, row, self.entries)

    def end(self) -> Verdict:
        """The chain was read to its end: is anything missing that was on record?"""
        longest = max(self.kept, default=0)
        if self.entries >= longest:
            return Verdict(self.entries, self.head)
        gone = f"entry {longest} is" if self.entries + 1 == longest else f"entries {self.entries + 1} to {longest} are"
        text = f"There were {longest} entries on record; {gone} gone."
        return Verdict(self.entries, self.head, Broken(self.entries + 1, "removed", text))


def _how(session: Session, row: Row[*tuple[Any, ...]], entries: int) -> Broken:
    expected = entries + 1
    if row.seq < expected:
        return Broken(row.seq, "out of order", f"The chain begins at 1, but there is an entry {row.seq}.")
    if row.seq > expected:
        return Broken(expected, "removed", f"Entry {expected} is gone: after {entries} comes {row.seq}.")
    changed = f"Entry {expected} is not as it was written: its hash does not fit its content."
    data = {column.key: value for column, value in zip(_COLUMNS, row, strict=True) if column.key != "hash"}
    prev_hash = data.pop("prev_hash")
    try:
        if chained(prev_hash, _entry(**data)) == row.hash:
            text = f"Entry {expected} is whole, but it does not follow the entry before it."
            return Broken(expected, "out of order", text)
        # Was it written for another place? More places than there are entries (and some that are gone) there are not.
        places = (session.scalar(select(func.count()).select_from(LedgerEntry)) or 0) + 1_000
        for place in range(1, places + 1):
            if chained(prev_hash, _entry(**{**data, "seq": place})) == row.hash:
                text = f"Entry {expected} was written as entry {place} and stands in the wrong place."
                return Broken(expected, "out of order", text)
    except (TypeError, UnicodeError):  # a number or bytes where text stood
        return Broken(expected, "changed", changed)
    return Broken(expected, "changed", changed)
