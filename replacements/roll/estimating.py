"""Chances of agreement by accident, measured on the office's own roll. Pure: voters in, figures out.

Two people taken from the roll by chance agree in a birth year as often as a stranger agrees with a voter, so that u can
be counted without knowing who is whom (Fellegi and Sunter 1969, their second method). How common each name is, an
import keeps count of anyhow (`name_counts`). What was seen too seldom to be measured is left out.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from zlib import crc32

from replacements.roll import dates
from replacements.roll.address_fit import places_on_file
from replacements.roll.keys import name_of
from replacements.roll.phones import digits
from replacements.roll.types import Voter

PAIRS, PAIRS_EACH = 200_000, 40  # at most, and a voter
SAMPLE = 50_000  # voters held for pairs
COUNTED = 500_000  # addresses and the like that are counted: half a million or a million of a large roll's
SEEN = 20  # a level that fewer pairs show keeps the package's figure
Figures = dict[tuple[str, str], tuple[str, float]]  # (field, level) -> ("u" or "u_voters", figure)


@dataclass(slots=True)
class _Counts:
    """What many voters have, counted by a checksum of it. Of addresses and accounts one in `one_in` is counted, with
    all who share it, so that ten million voters stay small."""

    one_in: int = 1
    voters: int = 0
    sample: list[Voter] = field(default_factory=list)
    shared: dict[str, Counter[int]] = field(default_factory=dict)

    def add(self, what: str, value: str, *, thin: bool = False) -> None:
        if value and not (thin and crc32(value.encode()) % self.one_in):
            self.shared.setdefault(what, Counter())[crc32(value.encode())] += 1

    def by_chance(self, what: str) -> float | None:
        """How often two different voters who have it have the same."""
        counts = self.shared.get(what, Counter())
        total = counts.total()
        alike = sum(number * (number - 1) for number in counts.values())
        return alike / (total * (total - 1)) if alike >= SEEN else None

    def company(self, what: str) -> float | None:
        """How many voters, counting the voter, share it with a voter who has it, on average."""
        counts = self.shared.get(what, Counter())
        return sum(number * number for number in counts.values()) / counts.total() if counts else None


def estimate(voters: Iterable[Voter], today: date, *, size: int = 0, seed: int = 1969) -> Figures:
    """Every figure that this roll can tell. The same roll, in any order of its lines, gives nearly the same figures.

    `size`: how many voters will come, as far as known; of a large roll, what is shared is counted for a part.
    """
    chance = random.Random(seed)  # noqa: S311 - a sample, no secret
    counts = _Counts(one_in=max(1, size // COUNTED))
    for voter in voters:
        _count(counts, voter)
        if len(counts.sample) < SAMPLE:
            counts.sample.append(voter)
        elif (place := chance.randrange(counts.voters)) < SAMPLE:
            counts.sample[place] = voter
    figures: Figures = {}
    for (field_name, level), what in _BY_CHANCE.items():
        if (u := counts.by_chance(what)) is not None:
            figures[field_name, level] = ("u", u)
    for (field_name, level), what in _COMPANY.items():
        if (company := counts.company(what)) is not None:
            figures[field_name, level] = ("u_voters", company)
    if len(counts.sample) > 1:
        figures |= _of_pairs(_pairs(counts.sample, chance), today)
    town = figures.get(("address", "same town"))
    if town is not None:
        figures["address", "differs"] = ("u", max(0.05, 0.97 - town[1]))
    return {key: (name, float(f"{number:.3g}")) for key, (name, number) in sorted(figures.items())}


_BY_CHANCE = {
    ("last_name", "initial"): "first letter of the last name",
    ("first_name", "initial"): "first letter of the first name",
    ("birth_date", "same"): "birth date",
    ("birth_date", "day and month"): "day and month",
    ("birth_date", "month and year"): "month and year",
    ("birth_date", "year"): "birth year",
    ("address", "city only"): "town",
    ("address", "same town"): "town",
}
_COMPANY = {
    ("address", "same"): "address",
    ("address", "mailing address"): "address",
    ("address", "unit not given"): "house",
    ("address", "mailing address, unit not given"): "house",
    ("address", "unit differs"): "house",
    ("address", "street only"): "street",
    ("address", "other house number"): "street",
    ("email", "on file"): "email",
    ("phone", "on file"): "phone",
}


def _count(counts: _Counts, voter: Voter) -> None:
    counts.voters += 1
    name = name_of(voter)
    if name.lasts:
        counts.add("first letter of the last name", name.lasts[0][0][:1])
    if name.first:
        counts.add("first letter of the first name", name.first[0][:1])
    year, month, day = dates.parts(voter.birth_date)
    if year is not None:
        counts.add("birth year", str(year))
        if month is not None:
            counts.add("birth date", voter.birth_date)
            counts.add("day and month", f"{month}-{day}")
            counts.add("month and year", f"{year}-{month}")
    home = places_on_file(voter)[0]
    town = home.zip or home.city
    counts.add("town", home.city or home.zip)
    if home.delivery.kind:
        house = f"{home.delivery.number} {home.delivery.before} {' '.join(home.delivery.key_names)} {town}"
        counts.add("address", f"{house} {home.delivery.unit_number}", thin=True)
        counts.add("house", house, thin=True)
        counts.add("street", f"{' '.join(home.delivery.key_names)} {town}")
    counts.add("email", voter.email.strip().casefold(), thin=True)
    counts.add("phone", digits(voter.phone), thin=True)


def _pairs(sample: Sequence[Voter], chance: random.Random) -> list[tuple[Voter, Voter]]:
    drawn = (
        (chance.randrange(len(sample)), chance.randrange(len(sample)))
        for _ in range(min(PAIRS, PAIRS_EACH * len(sample)))
    )
    return [(sample[one], sample[other]) for one, other in drawn if one != other]


def _of_pairs(pairs: Sequence[tuple[Voter, Voter]], today: date) -> Figures:
    """Shares of the levels among pairs in which both have the field."""
    seen: dict[str, Counter[str]] = {name: Counter() for name in ("birth_date", "age", "middle_name", "suffix")}
    for one, other in pairs:
        said = dates.parts(one.birth_date)
        if said[2] is not None and dates.parts(other.birth_date)[2] is not None:
            seen["birth_date"][dates.agreement((said,), other.birth_date)] += 1
        if age := dates.age_on(one.birth_date, today):
            seen["age"][dates.age_agreement(age[1], other.birth_date, today)] += 1
        mine, theirs = name_of(one), name_of(other)
        if mine.middle and theirs.middle:
            alike = mine.middle[0][0] == theirs.middle[0][0]
            level = "same" if mine.middle == theirs.middle else "alike" if alike else "differs"
            seen["middle_name"][level] += 1
        if mine.suffix:
            level = "same" if mine.suffix == theirs.suffix else "differs" if theirs.suffix else "not on file"
            seen["suffix"][level] += 1
    # a first letter said agrees with every middle name that begins with it, the same one too
    seen["middle_name"]["initial"] = seen["middle_name"]["same"] + seen["middle_name"].pop("alike", 0)
    figures: Figures = {}
    for name, levels in seen.items():
        total = levels.total() - (levels["same"] if name == "middle_name" else 0)
        for level, number in levels.items():
            exact = name == "birth_date" and level in ("same", "")
            if level and not exact and SEEN <= number < total:
                figures[name, level] = ("u", number / total)
    return figures


def as_text(figures: Figures, voters: int, day: date) -> str:
    """The office's file: TOML, a table per field."""
    lines = [
        f"# Chances of agreement by accident, measured on a roll of {voters} voters on {day.isoformat()}.",
        "# Made by `replacements roll weights --estimate`; take the file away to weigh by the package's figures.",
    ]
    table = ""
    for (field_name, level), (name, number) in figures.items():
        if field_name != table:
            lines += ["", f"[{field_name}]"]
            table = field_name
        lines.append(f'"{level}" = {{ {name} = {number!r} }}')
    return "\n".join(lines) + "\n"
