"""Rolls of any size for benchmarks: invented people, with names as unevenly spread as those of a real county.

    python -m tests.benchmarks.roll_generator LINES FILE [SEED]

Surnames follow share(rank) = c / (rank + 6), and given names share(rank) = c / (rank + 12) ** 1.2: near the steepness
of the census bureau's tables of names (from memory: the first surname has about 0.8 % of the people, the thousandth
about 0.01 %; the first given name about 1.5 %). All but a few common names are put together from syllables.
"""

from __future__ import annotations

import csv
import random
import re
import sys
from collections.abc import Iterator
from dataclasses import astuple, replace
from datetime import date, timedelta
from itertools import accumulate
from pathlib import Path

from replacements.roll.types import Voter
from tests.roll.invented_roll import FAMILY, GIVEN

FIELDS = tuple(Voter.__dataclass_fields__)
_STARTS = tuple(re.findall(r"\w+", "b br c ch cl d dr f g gr h j k l m n p pr qu r s sh st t th tr v w y z"))
_MIDDLES = tuple(re.findall(r"\w+", "a e i o u ai ea ee ie oa ou"))
_ENDS = tuple(re.findall(r"\w+", "l n r s t ck ld ll m nd ng nt rd rn rt sh ss st th x"))
_TAILS = ("", "", "", "er", "ley", "man", "son", "ton", "well", "ford", "ez", "ini", "ski", "wood")
_KINDS = tuple(re.findall(r"\w+", "St St St Ave Ave Rd Dr Dr Ln Ct Cir Blvd Way Pl Ter"))
_SURNAMES, _GIVEN_NAMES, _STREETS = 60_000, 4_000, 6_000


def _made(chance: random.Random, count: int, known: list[str]) -> list[str]:
    found = dict.fromkeys(known)
    while len(found) < count:
        syllables = chance.choice((1, 1, 2))
        stem = "".join(chance.choice(_STARTS) + chance.choice(_MIDDLES) for _ in range(syllables))
        found[(stem + chance.choice(_ENDS) + chance.choice(_TAILS)).title()] = None
    return list(found)[:count]


class Generator:
    """Voters without end, in households, from a seed."""

    def __init__(self, seed: int = 1) -> None:
        self.chance = random.Random(seed)
        names = random.Random(7)
        self.surnames = _made(names, _SURNAMES, FAMILY)
        self.given = _made(names, _GIVEN_NAMES, GIVEN)
        self.streets = [f"{name} {names.choice(_KINDS)}" for name in _made(names, _STREETS, [])]
        self.streets[::40] = [f"{n}th {kind}" for n, kind in zip(range(4, 154), _KINDS * 10, strict=True)]
        self.towns = [(name + "mere", f"97{900 + n}") for n, name in enumerate(_made(names, 60, []))]
        self._surname_weights = list(accumulate(1 / (rank + 6) for rank in range(1, _SURNAMES + 1)))
        self._given_weights = list(accumulate(1 / (rank + 12) ** 1.2 for rank in range(1, _GIVEN_NAMES + 1)))

    def _surname(self) -> str:
        last = self.chance.choices(self.surnames, cum_weights=self._surname_weights)[0]
        if self.chance.random() < 0.06:
            other = self.chance.choices(self.surnames, cum_weights=self._surname_weights)[0]
            last += self.chance.choice((" ", "-")) + other
        return last

    def _given(self) -> str:
        return self.chance.choices(self.given, cum_weights=self._given_weights)[0]

    def voters(self, count: int, first_id: int = 10_000_000) -> Iterator[Voter]:
        chance, made, voter_id = self.chance, 0, first_id
        while made < count:
            last = self._surname()
            street = f"{chance.randrange(1, 9900)} {chance.choice(self.streets)}"
            unit = f"Apt {chance.randrange(1, 90)}" if chance.random() < 0.25 else ""
            town, zip_code = chance.choice(self.towns)
            for _ in range(min(chance.choice((1, 1, 1, 2, 2, 2, 3, 4)), count - made)):
                first, voter_id, made = self._given(), voter_id + chance.randrange(1, 9), made + 1
                born = date(1930, 1, 1) + timedelta(days=chance.randrange(28_000))
                written = chance.random()
                yield Voter(
                    voter_id=str(voter_id),
                    last_name=last,
                    first_name=first,
                    middle_name=self._given() if chance.random() < 0.7 else "",
                    suffix="Jr" if chance.random() < 0.02 else "",
                    birth_date=born.isoformat(),
                    street=street,
                    unit=unit,
                    city=town,
                    state="OR",
                    zip=zip_code,
                    mail_street=f"PO Box {chance.randrange(1, 9000)}" if written < 0.06 else "",
                    mail_city=town if written < 0.06 else "",
                    mail_state="OR" if written < 0.06 else "",
                    mail_zip=zip_code if written < 0.06 else "",
                    precinct=f"P{zip_code[-3:]}-{chance.randrange(1, 9)}",
                    style=f"S{int(zip_code) % 40}",
                    language="en",
                    email=f"{first}.{last}{voter_id % 1000}@post.example".replace(" ", "").lower()
                    if chance.random() < 0.4
                    else "",
                    phone=f"541-{chance.randrange(200, 999)}-{chance.randrange(10_000):04}" if written > 0.5 else "",
                    former_last_name=self._surname() if chance.random() < 0.05 else "",
                    status="active" if chance.random() < 0.9 else "inactive",
                )
                last = last if chance.random() < 0.8 else self._surname()


def next_night(voter: Voter, chance: random.Random, generator: Generator, share: float = 0.01) -> Voter:
    """The voter as the next night's file has them: a share of them moved, changed names or got another style."""
    if chance.random() >= share:
        return voter
    kind = chance.random()
    if kind < 0.5:
        return replace(voter, street=f"{chance.randrange(1, 9900)} {chance.choice(generator.streets)}", unit="")
    if kind < 0.7:
        return replace(voter, style=f"S{chance.randrange(40)}", precinct=f"P{chance.randrange(900, 960)}-1")
    if kind < 0.85:
        return replace(voter, email=f"new.{voter.voter_id}@post.example")
    return replace(voter, last_name=generator.surnames[chance.randrange(2000)], former_last_name=voter.last_name)


def write_roll(path: Path, voters: Iterator[Voter]) -> None:
    """A roll file as an office exports it."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(FIELDS)
        writer.writerows(
            ["yes" if cell is True else "no" if cell is False else cell for cell in astuple(voter)] for voter in voters
        )


if __name__ == "__main__":
    write_roll(Path(sys.argv[2]), Generator(*map(int, sys.argv[3:4])).voters(int(sys.argv[1])))
