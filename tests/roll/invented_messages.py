"""How invented voters write their own names, addresses and birth dates."""

from __future__ import annotations

import random
from collections.abc import Iterator

from replacements.roll.nicknames_known import relation, short_forms
from replacements.roll.types import AddressClue, Clues, Voter

WORDS = {
    "St": "Street",
    "Ln": "Lane",
    "Ave": "Avenue",
    "Dr": "drive",
    "Rd": "Road",
    "Blvd": "boulevard",
    "Pl": "Place",
    "N": "North",
    "Ter": "terrace",
}


def name(voter: Voter) -> str:
    return f"{voter.first_name} {voter.last_name}"


def born(voter: Voter) -> tuple[tuple[int, int, int], ...]:
    year, month, day = (int(part) for part in voter.birth_date.split("-"))
    return ((year, month, day),)


def home(voter: Voter, chance: random.Random) -> AddressClue:
    """The registered address as people write it."""
    street = voter.street
    if chance.random() < 0.5:
        first, *words = street.split()  # "St Marys" stays what it is
        street = " ".join([first, words[0], *(WORDS.get(word, word) for word in words[1:])])
    unit = voter.unit if chance.random() < 0.5 else voter.unit.replace("Apt ", "#").lower()
    form = chance.randint(0, 3)
    if form == 0:
        return AddressClue(f"{street} {unit}".strip().lower())
    if form == 1:
        return AddressClue(street.upper(), unit, voter.city, "OR", voter.zip)
    if form == 2:
        return AddressClue(f"{street}, {unit}".strip(", "), "", voter.city.lower())
    return AddressClue(street, unit, voter.city)


def forms(voter: Voter, chance: random.Random) -> Iterator[str]:
    """Ways in which a voter writes their own name."""
    first, last = voter.first_name, voter.last_name
    yield name(voter)
    yield name(voter).upper()
    yield f"{last}, {first}"
    yield f"{first} {voter.middle_name[:1]}. {last}" if voter.middle_name else f"{first.lower()} {last.lower()}"
    good = sorted(
        s for s in short_forms(first.lower()) if relation(s, first.lower()) == "nickname" and s[0] == first[0].lower()
    )
    yield f"{chance.choice(good).title()} {last}" if good else name(voter)


def full_evidence(voter: Voter, chance: random.Random) -> Iterator[Clues]:
    for form in forms(voter, chance):
        yield Clues(names=(form,), addresses=(home(voter, chance),), birth_dates=born(voter))
        yield Clues(names=(form,), voter_ids=(voter.voter_id,))
        yield Clues(names=(form,), birth_dates=born(voter))
