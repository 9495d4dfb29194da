"""The ledger's events as the summary needs them: what happened to a ballot, when, from which state to which."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import NamedTuple

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from replacements.store.tables import Ballot, LedgerEntry

CANCELLED = "cancelled"
OUT = ("issued", "undeliverable")
_STATE_IS_EVENT = ("voided", "suspended", "returned", "accepted", "challenged", "undeliverable")
_EVENTS = (
    *_STATE_IS_EVENT,
    "reissued",
    "reinstated",
    "cured",
    "import_changed",
    "returned_after_void",
    "return_undone",
)


class Entry(NamedTuple):
    """One event. `before` and `state` are the ballot's states before and after it; "" where it changes none."""

    at: datetime
    event: str
    number: str
    before: str
    state: str
    reason: str
    style: str


@dataclass(frozen=True)
class Events:
    """Events in their order. `loaded_out`: when how many ballots came in by an import that were out."""

    entries: Sequence[Entry]
    loaded_out: Sequence[tuple[datetime, int]]
    replacements: frozenset[str]

    def between(self, start: datetime, end: datetime) -> Events:
        return Events([e for e in self.entries if start <= e.at < end], self.loaded_out, self.replacements)

    def of(self, event: str) -> list[Entry]:
        return [entry for entry in self.entries if entry.event == event]

    def by_day(self, edges: Sequence[datetime]) -> tuple[list[int], list[int]]:
        """For each stretch between two edges: how many reissues, and the most ballots that were out during it.

        The most, not those at its beginning: on the day when the ballots are loaded or sent there were none before.
        """
        steps = [(at, count, False) for at, count in self.loaded_out]
        for entry in self.entries:
            change = (entry.state in OUT) - (entry.before in OUT) if entry.state and entry.event != "imported" else 0
            steps.append((entry.at, change, entry.event == "reissued"))
        steps.sort(key=lambda step: step[0])
        reissues, most = [0] * (len(edges) - 1), [0] * (len(edges) - 1)
        out, place = 0, 0
        for n in range(len(edges) - 1):
            while place < len(steps) and steps[place][0] < edges[n]:
                out += steps[place][1]
                place += 1
            most[n] = out
            while place < len(steps) and steps[place][0] < edges[n + 1]:
                out += steps[place][1]
                reissues[n] += steps[place][2]
                most[n] = max(most[n], out)
                place += 1
        return reissues, most


def read_events(session: Session, election_id: str, *, until: datetime) -> Events:
    """What is on the ledger of an election up to a moment. Imports are counted by the database, not read one by one."""
    limit = until.astimezone(UTC).isoformat(timespec="microseconds")
    here = (LedgerEntry.election_id == election_id, LedgerEntry.at < limit)
    replacements = frozenset(
        session.scalars(select(Ballot.number).where(Ballot.election_id == election_id, Ballot.replaces.is_not(None)))
    )
    loaded_out = session.execute(
        select(LedgerEntry.at, func.count())
        .where(*here, LedgerEntry.event == "imported")
        .where(LedgerEntry.details.like('%"state":"issued"%') | LedgerEntry.details.like('%"state":"undeliverable"%'))
        .group_by(LedgerEntry.at)
    ).all()
    rows = session.execute(
        select(LedgerEntry.at, LedgerEntry.event, LedgerEntry.ballot_number, LedgerEntry.details)
        .where(*here)
        .where(
            LedgerEntry.event.in_(_EVENTS)
            | ((LedgerEntry.event == "imported") & LedgerEntry.details.like('%"replaces":%'))
        )
        .order_by(LedgerEntry.seq)
        .execution_options(yield_per=5_000)
    )
    entries = [_entry(at, event, number or "", details) for at, event, number, details in rows]
    return Events(entries, [(datetime.fromisoformat(at), count) for at, count in loaded_out], replacements)


def _entry(at: str, event: str, number: str, text: str) -> Entry:
    details = json.loads(text)
    state = event if event in _STATE_IS_EVENT else ""
    if event in ("imported", "import_changed"):
        state = details.get("state", "")
    elif event == "reissued":
        state = "issued"
    elif event in ("reinstated", "return_undone"):
        state = details.get("to", "")
    elif event == "cured":
        state = "returned"
    reason, style = details.get("reason", ""), details.get("style", "")
    return Entry(datetime.fromisoformat(at), event, number, details.get("from", ""), state, reason, style)
