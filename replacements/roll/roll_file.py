"""The office's roll file, line by line: a voter, or the reason why a line is refused."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from hashlib import blake2b
from operator import itemgetter
from pathlib import Path
from typing import Any

from replacements.roll.dates import normal_birth_date
from replacements.roll.types import Voter
from replacements.store.csv_files import FileTrouble, Refused, read_table

REQUIRED = ("voter_id", "last_name")
OPTIONAL = tuple(name for name in Voter.__dataclass_fields__ if name not in REQUIRED)
YES_NO = ("id_required", "overseas", "protected")
_YES = frozenset({"yes", "y", "true", "t", "1"})
_NO = frozenset({"no", "n", "false", "f", "0", ""})
_SAID = {"yes": True, "no": False, "": False}  # as nearly every file has it
_STATUS = {"active": "active", "a": "active", "": "active", "inactive": "inactive", "i": "inactive"}
NO_ID = "no voter_id"
FORM = "1"  # raise it when a line is read otherwise than before: every line of the next file is then read again
_FIELDS = tuple(Voter.__dataclass_fields__)
_AT = {name: place for place, name in enumerate(_FIELDS)}
_YES_NO_AT = tuple(_AT[name] for name in YES_NO)
MOST_CHARACTERS = 300  # of one entry; a longer one is two lines run together, or no roll


@dataclass(frozen=True, slots=True)
class RollFile:
    """A roll file read whole."""

    voters: tuple[Voter, ...]
    refused: tuple[Refused, ...]


@dataclass(frozen=True, slots=True)
class RollLine:
    """One line: `voter`, or `refused` with the voter id as far as one could be read."""

    line: int
    voter_id: str
    voter: Voter | None = None
    refused: Refused | None = None


def read_roll(path: Path, columns: Mapping[str, str] | None = None) -> RollFile:
    """Read a roll file into memory. Raises FileTrouble where the file cannot be used at all."""
    voters: list[Voter] = []
    refused: list[Refused] = []
    for line in roll_lines(path, columns):
        if line.voter is not None:
            voters.append(line.voter)
        elif line.refused is not None:
            refused.append(line.refused)
    return RollFile(tuple(voters), tuple(refused))


class RollReader:
    """An open roll file. Raises FileTrouble where the file cannot be used at all.

    `form` tells how its lines are read: two files of one form have the same voter where they have the same line.
    """

    def __init__(self, path: Path, columns: Mapping[str, str] | None = None) -> None:
        self._table = read_table(path, required=REQUIRED, optional=OPTIONAL, columns=columns)
        headings = self._table.headings
        if "first_name" not in headings:
            raise FileTrouble(
                f"{path}, line 1: no column 'first_name'. Without given names nobody can be told from their family. "
                "If the office uses another heading, name it under [columns] in office.toml."
            )
        # A row gets an empty entry at its end, which stands for the columns that the file does not have.
        self._picked = itemgetter(*(headings.index(name) if name in headings else -1 for name in _FIELDS))
        self._id = headings.index("voter_id")
        self.form = f"{FORM} {' '.join(headings)}"

    def rows(self) -> Iterator[tuple[int, list[str] | Refused]]:
        """(line number, entries) of every line."""
        return self._table.rows()

    def voter_id(self, row: Sequence[str]) -> str:
        return row[self._id]

    def voter(self, row: list[str]) -> Voter:
        """The voter of a line. Raises ValueError with the reason in the office's words."""
        return Voter(*self.values(row))

    def values(self, row: list[str]) -> tuple[Any, ...]:
        """The values of the voter of a line, in the order of `Voter`. Raises ValueError as `voter` does."""
        row.append("")
        values: list[Any] = list(self._picked(row))
        row.pop()
        whole = "".join(values)
        if len(whole) > MOST_CHARACTERS or "\x00" in whole:
            for name, value in zip(_FIELDS, values, strict=True):
                if len(value) > MOST_CHARACTERS:
                    raise ValueError(f"{name} has {len(value)} characters; at most {MOST_CHARACTERS} are taken")
                if "\x00" in value:
                    raise ValueError(f"{name} holds a character that is no text")
        if not values[_AT["last_name"]]:
            raise ValueError("no last_name")
        birth_date = values[_AT["birth_date"]]
        try:
            values[_AT["birth_date"]] = _birth_date(birth_date)
        except ValueError as error:
            raise ValueError(f"birth_date {birth_date!r} {error}") from error
        status = values[_AT["status"]]
        try:
            values[_AT["status"]] = _STATUS[status.casefold()]
        except KeyError as error:
            raise ValueError(f"status {status!r} is neither active nor inactive") from error
        for place in _YES_NO_AT:
            said = _SAID.get(values[place])
            values[place] = _yes(place, values[place]) if said is None else said
        return tuple(values)


def roll_lines(path: Path, columns: Mapping[str, str] | None = None) -> Iterator[RollLine]:
    """Every line of the file in turn; nothing but the ids seen is held in memory."""
    reader = RollReader(path, columns)
    first_seen: dict[str, int] = {}
    for number, row in reader.rows():
        if isinstance(row, Refused):
            yield RollLine(number, "", refused=row)
            continue
        voter_id = reader.voter_id(row)
        try:
            if voter_id in first_seen:
                raise ValueError(stands_already(voter_id, first_seen[voter_id]))
            if not voter_id:
                raise ValueError(NO_ID)
            first_seen[voter_id] = number
            yield RollLine(number, voter_id, voter=reader.voter(row))
        except ValueError as error:
            yield RollLine(number, voter_id, refused=Refused(number, str(error)))


def stands_already(voter_id: str, line: int) -> str:
    return f"voter_id {voter_id!r} stands on line {line} already"


def digest(line: str) -> int:
    """64 bits of a line; never `UNKNOWN`."""
    return int.from_bytes(blake2b(line.encode("utf-8", "surrogatepass"), digest_size=8).digest(), sys.byteorder) or 1


_birth_date = lru_cache(maxsize=65536)(normal_birth_date)


def _yes(place: int, written: str) -> bool:
    value = written.casefold()
    if value in _NO:
        return False
    if value in _YES:
        return True
    raise ValueError(f"{_FIELDS[place]} {written!r} is neither yes nor no")
