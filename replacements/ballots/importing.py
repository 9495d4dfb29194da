"""`ballots.csv` from the office's own system, loaded at first and then nightly.

A newer file changes only what differs. What this service decided itself is never undone: for every ballot three states
are compared (what the office's file said last time, what it says now, and what is on record here). Where only the file
changed, it is followed; where only this service changed something, that stays and the disagreement is listed.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any, NamedTuple

from sqlalchemy import insert, select, update
from sqlalchemy.orm import Session

from replacements.ballots.ledger import Event, append_many
from replacements.ballots.lines import BallotLine, read_ballots
from replacements.store.csv_files import Refused
from replacements.store.tables import LIVE_STATES, Ballot, LedgerEntry

BY = "import"
AT_A_TIME = 500
# What may follow in the office's own system on what was recorded here at the return desk.
_CHECKED_SINCE = {"returned": ("accepted", "challenged"), "challenged": ("accepted",)}


@dataclass(frozen=True, slots=True)
class Disagreement:
    """A ballot on which the office's file and this service do not agree. Nothing was changed about it."""

    line: int
    number: str
    text: str


@dataclass(frozen=True, slots=True)
class BallotReport:
    """What an import did, in lines. `taken` is False where `strict` refused the whole file.

    `not_in_file`: ballots that an earlier file had and this one lacks; they stay as they are.
    """

    added: int
    changed: int
    unchanged: int
    refused: tuple[Refused, ...]
    disagreements: tuple[Disagreement, ...]
    not_in_file: int = 0
    taken: bool = True


class _OnRecord(NamedTuple):
    number: str
    voter_id: str
    style: str
    state: str
    mailed_on: date | None
    returned_on: date | None
    replaces: str | None
    void_reason: str | None
    imported_state: str | None


_FIELDS = (
    Ballot.number,
    Ballot.voter_id,
    Ballot.style,
    Ballot.state,
    Ballot.mailed_on,
    Ballot.returned_on,
    Ballot.replaces,
    Ballot.void_reason,
    Ballot.imported_state,
)


def import_ballots(
    session: Session,
    path: Path,
    *,
    election_id: str,
    at: datetime,
    columns: Mapping[str, str] | None = None,
    strict: bool = False,
    progress: Callable[[int], None] | None = None,
) -> BallotReport:
    """Load the file in the caller's transaction; every ballot added or changed is on the ledger, an entry each.

    `columns` maps our names to the office's headings; `strict` refuses the whole file if one line is bad; `progress` is
    told the number of lines read. Raises FileTrouble for a file that cannot be read at all.
    """
    session.flush()
    lines, refused = read_ballots(path, columns, progress)
    known = {row.number: _OnRecord(*row) for row in session.execute(_of(election_id))}
    elsewhere = set(session.scalars(select(Ballot.number).where(Ballot.election_id != election_id)))
    own = set(
        session.scalars(
            select(LedgerEntry.ballot_number).where(
                LedgerEntry.event == "reissued", LedgerEntry.election_id == election_id
            )
        )
    )
    refused += _misfits(lines, known, elsewhere)
    changes, disagreements = _compare(lines, known, own)
    new, refused_new = _new(lines, known, changes)
    refused += refused_new
    refused.sort(key=lambda entry: entry.line)
    missing = sum(1 for row in known.values() if row.imported_state is not None and row.number not in lines)
    if strict and refused:
        return BallotReport(0, 0, 0, tuple(refused), (), missing, taken=False)
    changes, changed_meanwhile = _lock(session, changes, known, lines)
    disagreements += changed_meanwhile
    said = _apply(session, changes, known)
    _insert(session, new, election_id)
    append_many(session, [*_added(new, election_id, at), *_changed(said, known, election_id, at)])
    session.expire_all()
    disagreements.sort(key=lambda entry: entry.line)
    unchanged = len(lines) - len(new) - len(said)
    return BallotReport(len(new), len(said), unchanged, tuple(refused), tuple(disagreements), missing)


def _of(election_id: str) -> Any:
    return select(*_FIELDS).where(Ballot.election_id == election_id).order_by(Ballot.number)


def _misfits(lines: dict[str, BallotLine], known: Mapping[str, _OnRecord], elsewhere: set[str]) -> list[Refused]:
    """Take out of `lines` what contradicts a ballot's identity on record, or points to a ballot that is not there."""
    refused = []

    def refuse(line: BallotLine, text: str) -> None:
        refused.append(Refused(line.line, text))
        del lines[line.number]

    for line in list(lines.values()):
        before = known.get(line.number)
        if line.number in elsewhere:
            refuse(line, f"ballot {line.number} belongs to another election")
        elif before and before.voter_id != line.voter_id:
            refuse(line, f"ballot {line.number} is on record for voter {before.voter_id}, not {line.voter_id}")
        elif before and before.replaces and line.replaces and before.replaces != line.replaces:
            refuse(line, f"ballot {line.number} is on record as replacing {before.replaces}, not {line.replaces}")
    standing = {row.replaces: row.number for row in known.values() if row.replaces and row.state != "voided"}
    settled = False
    while not settled:  # a refused line may be what another one replaces
        settled = True
        for line in list(lines.values()):
            if line.replaces is None:
                continue
            original = lines.get(line.replaces) or known.get(line.replaces)
            rival = standing.get(line.replaces)
            if original is None:
                text = f"ballot {line.number} replaces {line.replaces}, which is not on record and not in the file"
            elif original.voter_id != line.voter_id:
                text = f"ballot {line.number} replaces {line.replaces}, which is another voter's"
            elif _in_a_circle(line, lines, known):
                text = f"ballot {line.number} replaces {line.replaces}, which replaces it in turn"
            elif line.state != "voided" and rival is not None and rival != line.number:
                text = f"ballot {line.replaces} has been replaced by {rival} already"
            else:
                if line.state != "voided":
                    standing[line.replaces] = line.number
                continue
            refuse(line, text)
            settled = False
    return refused


def _in_a_circle(line: BallotLine, lines: Mapping[str, BallotLine], known: Mapping[str, _OnRecord]) -> bool:
    seen = {line.number}
    number = line.replaces
    while number is not None:
        if number in seen:
            return True
        seen.add(number)
        ballot = lines.get(number) or known.get(number)
        number = ballot.replaces if ballot else None
    return False


def _compare(
    lines: Mapping[str, BallotLine], known: Mapping[str, _OnRecord], own: set[str | None]
) -> tuple[dict[str, dict[str, Any]], list[Disagreement]]:
    """For every ballot on record: what the file changes about it, and where the file and this service disagree."""
    changes: dict[str, dict[str, Any]] = {}
    disagreements: list[Disagreement] = []
    live_after = {row.voter_id: row.number for row in known.values() if row.state in LIVE_STATES}
    # ballots that stop being live first: they make room for another one of the same voter
    for line in sorted(lines.values(), key=lambda entry: entry.state in LIVE_STATES):
        row = known.get(line.number)
        if row is None:
            continue
        change: dict[str, Any] = {}
        texts: list[str] = []
        said_before = row.imported_state or "issued"
        followed = True
        if line.state != row.state:
            may_follow = row.state == said_before or line.state in _CHECKED_SINCE.get(row.state, ())
            rival = live_after.get(row.voter_id)
            if not may_follow or line.state == row.imported_state:
                followed = False
                texts.append(f"the file says {line.state}, here it is {row.state}{_why(row)}; it stays {row.state}")
            elif line.state in LIVE_STATES and rival not in (None, row.number):
                followed = False
                texts.append(
                    f"the file says {line.state}, but the voter's live ballot is {rival}; it stays {row.state}"
                )
            else:
                change |= {"state": line.state, "returned_on": line.returned_on}
                change["void_reason"] = line.void_reason if line.state == "voided" else None
                if line.state not in LIVE_STATES and rival == row.number:
                    del live_after[row.voter_id]
                elif line.state in LIVE_STATES:
                    live_after[row.voter_id] = row.number
        if line.number in own:
            if line.mailed_on and line.mailed_on != row.mailed_on:
                here = f"mailed on {row.mailed_on}" if row.mailed_on else "not mailed yet"
                texts.append(f"the file says mailed on {line.mailed_on}, here it is {here}")
            if line.style != row.style:
                texts.append(f"the file says style {line.style}, here it was issued with style {row.style}")
        else:
            if line.mailed_on:
                change["mailed_on"] = line.mailed_on
            change["style"] = line.style
        if followed:
            if row.state == said_before and line.returned_on:
                change["returned_on"] = line.returned_on
            if row.state == "voided" == row.imported_state == line.state and line.void_reason:
                change["void_reason"] = line.void_reason
            if line.replaces and row.replaces is None:
                change["replaces"] = line.replaces
        change = {name: value for name, value in change.items() if getattr(row, name) != value}
        if line.state != row.imported_state:
            change["imported_state"] = line.state
        if change:
            changes[line.number] = change
        disagreements += [Disagreement(line.line, line.number, text) for text in texts]
    return changes, disagreements


def _why(row: _OnRecord) -> str:
    return f" ({row.void_reason.replace('_', ' ')})" if row.void_reason else ""


def _new(
    lines: Mapping[str, BallotLine], known: Mapping[str, _OnRecord], changes: Mapping[str, Mapping[str, Any]]
) -> tuple[list[BallotLine], list[Refused]]:
    """Ballots that are not on record yet, originals first; a live one is refused where the voter has one on record."""
    live = {
        row.voter_id: row.number
        for row in known.values()
        if changes.get(row.number, {}).get("state", row.state) in LIVE_STATES
    }
    refused: dict[str, Refused] = {}
    waiting = [line for line in lines.values() if line.number not in known]
    for line in waiting:
        other = live.get(line.voter_id)
        if line.state in LIVE_STATES and other is not None:
            text = f"voter {line.voter_id} would have two live ballots: {other} is on record as live"
            refused[line.number] = Refused(line.line, text)
    ordered: list[BallotLine] = []
    placed = set(known)
    while waiting:
        still = []
        for line in waiting:
            if line.number in refused:
                continue
            if line.replaces in refused:
                text = f"ballot {line.number} replaces {line.replaces}, whose line was refused"
                refused[line.number] = Refused(line.line, text)
            elif line.replaces is None or line.replaces in placed:
                ordered.append(line)
                placed.add(line.number)
            else:
                still.append(line)
        waiting = still
    return ordered, list(refused.values())


def _lock(
    session: Session,
    changes: Mapping[str, dict[str, Any]],
    known: Mapping[str, _OnRecord],
    lines: Mapping[str, BallotLine],
) -> tuple[dict[str, dict[str, Any]], list[Disagreement]]:
    """Lock what will be changed; what somebody else changed since it was read is left for the next import."""
    numbers = sorted(changes)
    kept: dict[str, dict[str, Any]] = {}
    meanwhile = []
    for start in range(0, len(numbers), AT_A_TIME):
        some = numbers[start : start + AT_A_TIME]
        rows = session.execute(
            select(*_FIELDS).where(Ballot.number.in_(some)).order_by(Ballot.number).with_for_update()
        )
        for row in rows:
            if _OnRecord(*row) == known[row.number]:
                kept[row.number] = changes[row.number]
            else:
                text = "it was changed here while the file was read; the next import looks at it again"
                meanwhile.append(Disagreement(lines[row.number].line, row.number, text))
    return kept, meanwhile


def _apply(
    session: Session, changes: Mapping[str, dict[str, Any]], known: Mapping[str, _OnRecord]
) -> dict[str, dict[str, Any]]:
    """Write the changes, those that end a live ballot first. Returns those that go on the ledger."""

    def order(number: str) -> tuple[bool, str]:
        return changes[number].get("state", known[number].state) in LIVE_STATES, number

    rows = []
    for number in sorted(changes, key=order):
        full = known[number]._asdict() | changes[number]
        del full["voter_id"]
        rows.append(full)
    for start in range(0, len(rows), AT_A_TIME):
        session.execute(update(Ballot), rows[start : start + AT_A_TIME])
    return {number: change for number, change in changes.items() if set(change) - {"imported_state"}}


def _insert(session: Session, new: list[BallotLine], election_id: str) -> None:
    for start in range(0, len(new), AT_A_TIME * 10):
        rows = []
        for line in new[start : start + AT_A_TIME * 10]:
            row = line._asdict() | {"election_id": election_id, "imported_state": line.state}
            del row["line"]
            rows.append(row)
        session.execute(insert(Ballot), rows)


def _added(new: list[BallotLine], election_id: str, at: datetime) -> list[Event]:
    def details(line: BallotLine) -> dict[str, Any]:
        found: dict[str, Any] = {
            "state": line.state,
            "style": line.style,
            "mailed_on": _iso(line.mailed_on),
            "returned_on": _iso(line.returned_on),
        }
        if line.replaces:
            found["replaces"] = line.replaces
        if line.void_reason:
            found["reason"] = line.void_reason
        return found

    return [Event("imported", election_id, BY, at, line.number, line.voter_id, details(line)) for line in new]


def _changed(
    said: Mapping[str, dict[str, Any]], known: Mapping[str, _OnRecord], election_id: str, at: datetime
) -> list[Event]:
    events = []
    for number, change in sorted(said.items()):
        row = known[number]
        details = {
            "from": row.state,
            "state": change.get("state", row.state),
            "style": change.get("style", row.style),
            "changed": sorted(set(change) - {"imported_state"}),
        }
        if replaces := change.get("replaces", row.replaces):
            details["replaces"] = replaces
        if reason := change.get("void_reason"):
            details["reason"] = reason
        details |= {name: _iso(change[name]) for name in ("mailed_on", "returned_on") if name in change}
        events.append(Event("import_changed", election_id, BY, at, number, row.voter_id, details))
    return events


def _iso(day: date | None) -> str | None:
    return day.isoformat() if day else None
