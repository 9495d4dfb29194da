"""Requests of elections before this service, from the office's own records: a CSV file without names, a line a request.

They are there to be compared with, and nothing else. A line that was loaded before is the same one (by the election's
name and the office's own number); a newer file changes what differs.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

from sqlalchemy import insert, select, update
from sqlalchemy.orm import Session

from replacements.store.csv_files import Refused, read_table
from replacements.store.tables import PastRequest

# Each column, and what stands in it.
REQUIRED = {
    "election": "the election's name, the same in all its lines",
    "held_on": "election day, as 2028-11-07",
    "reference": "the office's own number of the request; no name, no voter's number",
    "received_on": "the day on which it came in",
    "kind": "what was asked: one of the kinds below",
    "outcome": "what came of it: reissued, declined or other",
}
OPTIONAL = {
    "cause": "why a ballot was asked for: spoiled, damaged, not_received, lost, stolen, undeliverable",
    "mailed_on": "the day on which the packet was mailed; empty where none was",
    "style": "ballot style",
    "precinct": "precinct",
    "language": "language of the message, as en, es, vi, ko",
}
KINDS = (
    "spoiled_ballot", "not_received", "missing_materials", "address_change", "assistance", "question", "withdrawal",
    "details", "automatic", "other",
)  # fmt: skip
OUTCOMES = ("reissued", "declined", "other")
CAUSES = ("spoiled", "damaged", "not_received", "lost", "stolen", "undeliverable")
_KEPT = ("held_on", "received_on", "kind", "cause", "outcome", "mailed_on", "style", "precinct", "language")


@dataclass(frozen=True, slots=True)
class HistoryReport:
    """What became of a file's lines. `elections`: those that the file is about. `taken`: False where nothing was."""

    added: int
    changed: int
    unchanged: int
    refused: tuple[Refused, ...]
    elections: tuple[str, ...]
    taken: bool = True


def load_history(session: Session, path: Path, *, at: datetime, strict: bool = False) -> HistoryReport:
    """Take a file in. A line that cannot be used is refused with its reason, and stops nothing; with `strict` it keeps
    the whole file out. Columns of other names are not read. Raises FileTrouble."""
    refused: list[Refused] = []
    lines: dict[tuple[str, str], dict[str, Any]] = {}
    for number, cells in read_table(path, required=tuple(REQUIRED), optional=tuple(OPTIONAL)):
        if isinstance(cells, Refused):
            refused.append(cells)
            continue
        row, why = _read(cells)
        key = cells["election"], cells["reference"]
        if not why and key in lines:
            why = f"reference {key[1]!r} of {key[0]!r} stands in an earlier line"
        if why:
            refused.append(Refused(number, why))
        else:
            lines[key] = row
    names = tuple(sorted({name for name, _ in lines}))
    if strict and refused:
        return HistoryReport(0, 0, 0, tuple(refused), names, taken=False)
    known = {
        (row.election, row.reference): row
        for row in session.scalars(select(PastRequest).where(PastRequest.election.in_(names)))
    }
    new, changes = [], []
    for (election, reference), values in lines.items():
        before = known.get((election, reference))
        if before is None:
            new.append({"election": election, "reference": reference, "loaded_at": at, **values})
        elif any(getattr(before, name) != values[name] for name in _KEPT):
            changes.append({"id": before.id, "loaded_at": at, **values})
    if new:
        session.execute(insert(PastRequest), new)
    if changes:
        session.execute(update(PastRequest), changes)
    unchanged = len(lines) - len(new) - len(changes)
    return HistoryReport(len(new), len(changes), unchanged, tuple(refused), names)


def _read(cells: dict[str, str]) -> tuple[dict[str, Any], str]:
    """A line's values, and why they cannot be used (empty where they can)."""
    row: dict[str, Any] = {name: cells.get(name, "") for name in _KEPT}
    for name in ("election", "reference"):
        if not cells[name]:
            return row, f"{name} is empty"
    for name in ("held_on", "received_on", "mailed_on"):
        text = cells.get(name, "")
        if name == "mailed_on" and not text:
            row[name] = None
            continue
        try:
            row[name] = date.fromisoformat(text)
        except ValueError:
            return row, f"{name} is {text!r}; expected a date as 2028-11-07"
    for name, allowed in (("kind", KINDS), ("outcome", OUTCOMES), ("cause", ("", *CAUSES))):
        if row[name] not in allowed:
            return row, f"{name} is {row[name]!r}; expected one of {', '.join(word for word in allowed if word)}"
    if row["mailed_on"] is not None and row["mailed_on"] < row["received_on"]:
        return row, f"mailed_on {row['mailed_on']} is before received_on {row['received_on']}"
    return row, ""
