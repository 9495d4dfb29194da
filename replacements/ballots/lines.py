"""`ballots.csv` as lines: each one read and checked, by itself and against the others in the file."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping
from datetime import date, datetime
from pathlib import Path
from typing import NamedTuple

from replacements.store.csv_files import Refused, read_table
from replacements.store.tables import BALLOT_STATES, LIVE_STATES

REQUIRED = ("ballot_number", "voter_id", "style", "state")
OPTIONAL = ("mailed_on", "returned_on", "replaces", "void_reason")
LINES_BETWEEN_PROGRESS = 5_000


class BallotLine(NamedTuple):
    """A line of the file that is good by itself. `line` counts from 1, the heading included."""

    line: int
    number: str
    voter_id: str
    style: str
    state: str
    mailed_on: date | None
    returned_on: date | None
    replaces: str | None
    void_reason: str | None


def read_ballots(
    path: Path, columns: Mapping[str, str] | None = None, progress: Callable[[int], None] | None = None
) -> tuple[dict[str, BallotLine], list[Refused]]:
    """The good lines by ballot number, and the refused ones with their reasons.

    Checked here: each entry; a number that stands twice; two live ballots of one voter. Raises FileTrouble.
    """
    refused: list[Refused] = []
    by_number: dict[str, list[BallotLine]] = defaultdict(list)
    for count, (line, values) in enumerate(read_table(path, required=REQUIRED, optional=OPTIONAL, columns=columns), 1):
        if isinstance(values, Refused):
            refused.append(values)
        else:
            read = _read(line, values)
            if isinstance(read, Refused):
                refused.append(read)
            else:
                by_number[read.number].append(read)
        if progress and count % LINES_BETWEEN_PROGRESS == 0:
            progress(count)
    good: dict[str, BallotLine] = {}
    for number, lines in by_number.items():
        first, *others = lines
        if any(other[1:] != first[1:] for other in others):
            text = f"ballot {number} stands in lines {_and(entry.line for entry in lines)}, and they do not agree"
            refused += [Refused(entry.line, text) for entry in lines]
            continue
        good[number] = first
        refused += [Refused(entry.line, f"ballot {number} stands in line {first.line} already") for entry in others]
    refused += _second_live(good)
    return good, refused


def _read(line: int, values: Mapping[str, str]) -> BallotLine | Refused:
    for name in ("ballot_number", "voter_id", "style"):
        if not values[name]:
            return Refused(line, f"{name} is empty")
    number, state = values["ballot_number"], values["state"].lower()
    if len(number) > 40 or not number.replace("-", "").isalnum():
        return Refused(line, f"ballot_number {number[:40]!r} is not a ballot number")
    if state not in BALLOT_STATES:
        return Refused(line, f"state {values['state'][:40]!r} is not one of {', '.join(BALLOT_STATES)}")
    replaces = values.get("replaces") or None
    if replaces == number:
        return Refused(line, f"ballot {number} cannot replace itself")
    days: list[date | None] = []
    for name in ("mailed_on", "returned_on"):
        try:
            days.append(_day(values.get(name, "")))
        except ValueError:
            return Refused(line, f"{name} {values[name][:40]!r} is not a date such as 2031-09-22 or 09/22/2031")
    reason = values.get("void_reason") or None
    return BallotLine(line, number, values["voter_id"], values["style"], state, days[0], days[1], replaces, reason)


def _day(text: str) -> date | None:
    if not text:
        return None
    if "/" in text:
        month, day, year = (int(part) for part in text.split("/"))
        if year < 1900:
            raise ValueError(text)
        return date(year, month, day)
    return datetime.fromisoformat(text).date()


def _second_live(good: dict[str, BallotLine]) -> list[Refused]:
    """Of two live ballots of a voter the first stays: a voter without any would be told that none was issued."""
    live = Counter(line.voter_id for line in good.values() if line.state in LIVE_STATES)
    first: dict[str, BallotLine] = {}
    refused = []
    for number, line in list(good.items()):
        if line.state not in LIVE_STATES or live[line.voter_id] < 2:
            continue
        kept = first.setdefault(line.voter_id, line)
        if kept is not line:
            text = f"voter {line.voter_id} would have two live ballots, {kept.number} (line {kept.line}) and {number}"
            refused.append(Refused(line.line, text))
            del good[number]
    return refused


def _and(lines: Iterable[int]) -> str:
    return " and ".join(str(line) for line in lines)
