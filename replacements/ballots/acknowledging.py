"""The other side's answer to a hand-over: which of its events the office's own system took, and which it did not.

The answer is a CSV file with `ballot_number` and `event` of each line it is about, and a `result` ("taken", or why not;
empty is taken). It is held against what was handed over, line by line, and recorded on the ledger with its SHA-256.
"""

from __future__ import annotations

import csv
import io
import json
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from pathlib import Path

from sqlalchemy import select
from sqlalchemy.orm import Session

from replacements.ballots.handover import HANDED_OVER, repeat
from replacements.ballots.ledger import append
from replacements.store.csv_files import Refused, read_table
from replacements.store.csv_text import as_written
from replacements.store.database import lock_ledger
from replacements.store.tables import LedgerEntry

ACKNOWLEDGED = "handover_acknowledged"
TAKEN = ("", "taken", "ok", "done")
LONGEST_RESULT = 100  # characters
MOST_NAMED = 200  # on the ledger; the file itself has them all


@dataclass(frozen=True, slots=True)
class Answer:
    """What an answer said. `not_taken`: "number event: why"; `missing`: handed over, but not in the answer;
    `unexpected`: in the answer, but never handed over. `known`: the same answer was recorded before."""

    number: int
    taken: int
    not_taken: tuple[str, ...]
    missing: tuple[str, ...]
    unexpected: tuple[str, ...]
    known: bool = False

    @property
    def complete(self) -> bool:
        return not (self.not_taken or self.missing or self.unexpected)


@dataclass(frozen=True, slots=True)
class Handed:
    """A hand-over and its answer. `state`: "open" (no answer yet), "taken" (all of it) or "differs"."""

    number: int
    at: str
    events: int
    state: str


def acknowledge(
    session: Session,
    election_id: str,
    number: int,
    file: Path,
    *,
    by: str,
    at: datetime,
    columns: Mapping[str, str] | None = None,
) -> Answer:
    """Take in the answer to hand-over `number`, and record it. The same file twice is recorded once.

    Raises NoSuchHandOver where there is no such hand-over, FileTrouble for a file that cannot be read.
    """
    session.flush()
    lock_ledger(session)
    handed = repeat(session, election_id, number)
    rows = csv.DictReader(io.StringIO(handed.text))
    wanted = Counter((as_written(row["ballot_number"]), row["event"]) for row in rows)
    said: Counter[tuple[str, str]] = Counter()
    not_taken: list[str] = []
    refused = 0
    for line, values in read_table(file, required=("ballot_number", "event"), optional=("result",), columns=columns):
        if isinstance(values, Refused):
            not_taken.append(f"line {line}: {values.reason}")
            continue
        what = as_written(values["ballot_number"]), values["event"]
        said[what] += 1
        if values.get("result", "").lower() not in TAKEN:
            not_taken.append(f"{what[0]} {what[1]}: {values['result'][:LONGEST_RESULT]}")
            refused += what in wanted
    missing = [f"{ballot} {event}" for ballot, event in sorted((wanted - said).elements())]
    unexpected = [f"{ballot} {event}" for ballot, event in sorted((said - wanted).elements())]
    taken = sum((wanted & said).values()) - refused
    digest = sha256(file.read_bytes()).hexdigest()
    known = any(
        details["number"] == number and details["sha256"] == digest for details in _recorded(session, election_id)
    )
    answer = Answer(number, max(taken, 0), tuple(not_taken), tuple(missing), tuple(unexpected), known)
    if not known:
        append(
            session,
            event=ACKNOWLEDGED,
            election_id=election_id,
            by=by,
            at=at,
            details={
                "number": number,
                "sha256": digest,
                "taken": answer.taken,
                "not_taken": not_taken[:MOST_NAMED],
                "missing": missing[:MOST_NAMED],
                "unexpected": unexpected[:MOST_NAMED],
            },
        )
    return answer


def handed_over(session: Session, election_id: str) -> tuple[Handed, ...]:
    """Every hand-over of an election in order, and what was answered last."""
    answers = {details["number"]: details for details in _recorded(session, election_id)}
    rows = session.execute(
        select(LedgerEntry.at, LedgerEntry.details)
        .where(LedgerEntry.event == HANDED_OVER, LedgerEntry.election_id == election_id)
        .order_by(LedgerEntry.seq)
    )
    found = []
    for at, text in rows:
        details = json.loads(text)
        answer = answers.get(details["number"])
        differs = answer is not None and any(answer[name] for name in ("not_taken", "missing", "unexpected"))
        state = "open" if answer is None else "differs" if differs else "taken"
        found.append(Handed(details["number"], at, details["events"], state))
    return tuple(found)


def _recorded(session: Session, election_id: str) -> list[dict[str, object]]:
    rows = session.scalars(
        select(LedgerEntry.details)
        .where(LedgerEntry.event == ACKNOWLEDGED, LedgerEntry.election_id == election_id)
        .order_by(LedgerEntry.seq)
    )
    return [json.loads(details) for details in rows]
