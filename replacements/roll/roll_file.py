"""The office's roll file, line by line: a voter, or the reason why a line is refused."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from replacements.roll.dates import normal_birth_date
from replacements.roll.types import Voter
from replacements.store.csv_files import FileTrouble, Refused, read_table

REQUIRED = ("voter_id", "last_name")
OPTIONAL = tuple(name for name in Voter.__dataclass_fields__ if name not in REQUIRED)
YES_NO = ("id_required", "overseas", "protected")
_YES = frozenset({"yes", "y", "true", "t", "1"})
_NO = frozenset({"no", "n", "false", "f", "0", ""})
_STATUS = {"active": "active", "a": "active", "": "active", "inactive": "inactive", "i": "inactive"}
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


def roll_lines(path: Path, columns: Mapping[str, str] | None = None) -> Iterator[RollLine]:
    """Every line of the file in turn; nothing but the ids seen is held in memory."""
    table = read_table(path, required=REQUIRED, optional=OPTIONAL, columns=columns)
    if "first_name" not in table.headings:
        raise FileTrouble(
            f"{path}, line 1: no column 'first_name'. Without given names nobody can be told from their family. "
            "If the office uses another heading, name it under [columns] in office.toml."
        )
    first_seen: dict[str, int] = {}
    for number, values in table:
        if isinstance(values, Refused):
            yield RollLine(number, "", refused=values)
            continue
        voter_id = values["voter_id"]
        reason = ""
        voter = None
        if not voter_id:
            reason = "no voter_id"
        elif voter_id in first_seen:
            reason = f"voter_id {voter_id!r} stands on line {first_seen[voter_id]} already"
        else:
            first_seen[voter_id] = number
            try:
                voter = _voter(values)
            except ValueError as error:
                reason = str(error)
        if voter is not None:
            yield RollLine(number, voter_id, voter=voter)
        else:
            yield RollLine(number, voter_id, refused=Refused(number, reason))


def _voter(values: dict[str, str]) -> Voter:
    """Raises ValueError with the reason in the office's words."""
    for name, value in values.items():
        if len(value) > MOST_CHARACTERS:
            raise ValueError(f"{name} has {len(value)} characters; at most {MOST_CHARACTERS} are taken")
        if "\x00" in value:
            raise ValueError(f"{name} holds a character that is no text")
    if not values["last_name"]:
        raise ValueError("no last_name")
    try:
        birth_date = normal_birth_date(values.get("birth_date", ""))
    except ValueError as error:
        raise ValueError(f"birth_date {values['birth_date']!r} {error}") from error
    status = values.get("status", "").casefold()
    if status not in _STATUS:
        raise ValueError(f"status {values['status']!r} is neither active nor inactive")
    text = {name: value for name, value in values.items() if name not in (*YES_NO, "birth_date", "status")}
    text.setdefault("first_name", "")
    return Voter(
        **text,
        birth_date=birth_date,
        status=_STATUS[status],
        id_required=_yes(values, "id_required"),
        overseas=_yes(values, "overseas"),
        protected=_yes(values, "protected"),
    )


def _yes(values: dict[str, str], name: str) -> bool:
    value = values.get(name, "").casefold()
    if value in _YES:
        return True
    if value in _NO:
        return False
    raise ValueError(f"{name} {values[name]!r} is neither yes nor no")
