"""Thousands of cases made to mislead the search for the voter, from a fixed seed.

Of each case it is known, by how it was made, who writes (None: nobody who is on the roll, or nobody whom these facts
could name), and whether the trade calls for `certain`: a name that fits and a fact of the office's list that agrees,
with nothing against it and nobody else whom it fits.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from replacements.roll.nicknames_known import relation
from replacements.roll.types import AddressClue, Clues, Voter
from tests.roll.adversarial_county import BOTH, people_nowhere
from tests.roll.adversarial_slips import date_slip, id_slip, typo
from tests.roll.invented_messages import born, home, name
from tests.roll.invented_roll import (
    FAMILY,
    GIVEN,
    County,
)


@dataclass(frozen=True)
class Case:
    """`calls`: the trade calls for `certain`. `guarded`: the office's rules do not take name and address alone."""

    family: str
    what: str
    clues: Clues
    voter_id: str | None
    calls: bool = False
    guarded: bool = False


Cases = Iterator[Case]


def clues(written: str, **more: Any) -> Clues:
    return Clues(names=(written,), **more)


def there(voter: Voter) -> tuple[AddressClue, ...]:
    return (AddressClue(voter.street, voter.unit, voter.city, voter.state, voter.zip),)


def other_date(voter: Voter, chance: random.Random, generation: bool = True) -> tuple[tuple[int, int, int], ...]:
    """Another person's birth date: a generation off, or some years."""
    year, month, day = born(voter)[0]
    years = chance.choice((-29, -24, 24, 31)) if generation else chance.choice((-7, -4, 3, 6))
    return ((year + years, (month + chance.randint(2, 9)) % 12 + 1, (day + chance.randint(5, 20)) % 28 + 1),)


def fathers_and_sons(county: County, chance: random.Random) -> Cases:
    family = "father and son"
    for pair in county.kinds["father and son"]:
        bare = clues(name(pair[0]), addresses=there(pair[0]))
        yield Case(family, "nothing tells them apart", bare, None)
        yield Case(family, "name alone", clues(name(pair[0])), None)
        for own, other in (pair, pair[::-1]):
            at = {"addresses": (home(own, chance),)}
            year = born(own)[0][0]
            yield Case(family, "birth date", clues(name(own), birth_dates=born(own), **at), own.voter_id, True)
            yield Case(
                family, "birth year", clues(name(own), birth_dates=((year, None, None),), **at), own.voter_id, True
            )
            yield Case(family, "age", clues(name(own), age=2026 - year, **at), own.voter_id)
            yield Case(family, "voter id", clues(name(own), voter_ids=(own.voter_id,)), own.voter_id, True)
            mixed = clues(name(own), birth_dates=born(own), voter_ids=(other.voter_id,), **at)
            yield Case(family, "own birth date, the other's id", mixed, None)
            slip = clues(name(own), birth_dates=(date_slip(born(own)[0], chance),), **at)
            yield Case(family, "birth date with a slip", slip, own.voter_id)
            if own.suffix:
                yield Case(
                    family,
                    "suffix",
                    clues(name(own), suffix=own.suffix, **at),
                    own.voter_id,
                    own.suffix != other.suffix,
                )


def sons_who_are_not_on_the_roll(county: County, chance: random.Random) -> Cases:
    family = "a son who is not on the roll"
    for father, son in county.kinds["the son is not on the roll"]:
        at = {"addresses": there(father)}
        year = born(son)[0][0]
        yield Case(family, "name and address, guarded rules", clues(name(son), **at), None, guarded=True)
        yield Case(family, "birth date", clues(name(son), birth_dates=born(son), **at), None)
        yield Case(family, "birth year", clues(name(son), birth_dates=((year, None, None),), **at), None)
        yield Case(family, "age", clues(name(son), age=2026 - year, **at), None)
        yield Case(family, "suffix", clues(name(son), suffix=son.suffix, **at), None)
        yield Case(family, "suffix in the name", clues(f"{name(son)}, {son.suffix}.", **at), None)
        yield Case(family, "another account", clues(name(son), emails=("son@post.example",), **at), None, guarded=True)
        if father.suffix:
            yield Case(family, "father's suffix on file, none said", clues(name(son), **at), None)
        yield Case(family, "the father", clues(name(father), birth_dates=born(father), **at), father.voter_id, True)


def twins(county: County, chance: random.Random) -> Cases:
    family = "twins"
    for pair in [*county.kinds["twins"], *county.kinds["twins of near names"]]:
        near = pair in county.kinds["twins of near names"]
        for own, other in (pair, pair[::-1]):
            both = {"birth_dates": born(own), "addresses": (home(own, chance),)}
            yield Case(family, "full name", clues(name(own), **both), own.voter_id, not near)
            yield Case(family, "the other's id", clues(name(own), voter_ids=(other.voter_id,), **both), None)
            yield Case(family, "own id", clues(name(own), voter_ids=(own.voter_id,), **both), own.voter_id, True)
            if own.first_name[0] == other.first_name[0]:
                yield Case(family, "first letter", clues(f"{own.first_name[0]}. {own.last_name}", **both), None)
            slip = typo(own.first_name, chance)
            yield Case(family, "a slip in the name", clues(f"{slip} {own.last_name}", **both), own.voter_id)
            yield Case(family, "family name alone", clues(own.last_name, **both), None)
    for own, absent in county.kinds["a twin alone"]:
        both = {"birth_dates": born(own), "addresses": there(own)}
        yield Case(family, "the twin is not on the roll", clues(name(absent), **both), None)
        yield Case(family, "the twin is not on the roll, no date", clues(name(absent), addresses=there(own)), None)
        yield Case(family, "the twin is not on the roll, no address", clues(name(absent), birth_dates=born(own)), None)
        yield Case(family, "the twin who is", clues(name(own), **both), own.voter_id, True)


def couples(county: County, chance: random.Random) -> Cases:
    family = "couples on one account"
    for one, other in county.kinds["couple"]:
        account = {"emails": (one.email,)}
        shared = one.email == other.email
        yield Case(
            family,
            "given name",
            clues(other.first_name, **account),
            other.voter_id,
            shared,
        )
        yield Case(family, "full name", clues(name(other), **account), other.voter_id, shared)
        yield Case(family, "no name", Clues(**account), None if shared else one.voter_id)
        yield Case(family, "the family", clues(f"The {one.last_name}s", **account), None if shared else one.voter_id)
        yield Case(family, "the other's id", clues(name(one), voter_ids=(other.voter_id,), **account), None)
        yield Case(family, "the other's ballot", clues(name(one), ballot_owners=(other.voter_id,), **account), None)
        yield Case(family, "Mrs. and his name", clues(f"Mrs. {name(one)}", addresses=there(one)), None)
        yield Case(family, "birth date", clues(name(other), birth_dates=born(other), **account), other.voter_id, True)
        crossed = clues(name(other), birth_dates=born(one), **account)
        yield Case(family, "the other's birth date", crossed, None)
        guest = chance.choice([n for n in GIVEN if n[0] not in (one.first_name[0], other.first_name[0])])
        yield Case(family, "a guest of the account", clues(f"{guest} {chance.choice(FAMILY)}-Marsh", **account), None)
        yield Case(family, "a child who is not on the roll", clues(f"{guest} {one.last_name}", **account), None)
    for pair in county.kinds["a short form for both"]:
        short = next(s for a, b, s in BOTH if a == pair[0].first_name and b == pair[1].first_name)
        for more in ({"emails": (pair[0].email,)}, {"addresses": there(pair[0])}):
            yield Case(family, "a short form for both", clues(f"{short} {pair[0].last_name}", **more), None)
        for own in pair:
            both = clues(f"{short} {own.last_name}", birth_dates=born(own), addresses=there(own))
            yield Case(
                family,
                "a short form and the birth date",
                both,
                own.voter_id,
                bool(relation(short.lower(), own.first_name.lower()) == "nickname"),
            )
            yield Case(family, "full name of two on an account", clues(name(own), emails=(own.email,)), own.voter_id)


def namesakes(county: County, chance: random.Random) -> Cases:
    family = "namesakes"
    for group in county.kinds["namesakes"]:
        yield Case(family, "name alone", clues(name(group[0])), None)
        yield Case(family, "name and a town", clues(name(group[0]), addresses=(AddressClue(city=group[0].city),)), None)
        for own in group:
            street = own.street.split(" ", 1)[1]
            yield Case(family, "birth date", clues(name(own), birth_dates=born(own)), own.voter_id, True)
            yield Case(family, "address", clues(name(own), addresses=there(own)), own.voter_id, True)
            yield Case(family, "street", clues(name(own), addresses=(AddressClue(street, city=own.city),)), None)
            yield Case(family, "birth year", clues(name(own), birth_dates=((born(own)[0][0], None, None),)), None)
            slip = (date_slip(born(own)[0], chance),)
            yield Case(family, "birth date with a slip", clues(name(own), birth_dates=slip), own.voter_id)
            crossed = clues(name(own), birth_dates=born(own), addresses=there(next(v for v in group if v is not own)))
            yield Case(family, "one's birth date, another's address", crossed, own.voter_id)
        third = clues(
            name(group[0]), birth_dates=other_date(group[0], chance), addresses=(AddressClue(people_nowhere(chance)),)
        )
        yield Case(family, "a third who is not on the roll", third, None)


def strangers(county: County, chance: random.Random) -> Cases:
    """Nobody of these is on the roll; each is close to somebody who is."""
    family = "strangers"
    on_file = {(v.first_name, v.last_name) for v in county.voters}
    ids = {v.voter_id for v in county.voters}
    for (voter,) in county.kinds["ordinary"][:260]:
        near = {"addresses": there(voter)}
        first = chance.choice([n for n in GIVEN if n[0] != voter.first_name[0] and (n, voter.last_name) not in on_file])
        if relation(first.lower(), voter.first_name.lower()):
            continue
        other = other_date(voter, chance, generation=chance.random() < 0.5)
        yield Case(
            family, "a relative of another name", clues(f"{first} {voter.last_name}", birth_dates=other, **near), None
        )
        yield Case(family, "a namesake's birth date", clues(name(voter), birth_dates=other), None)
        yield Case(
            family, "a namesake at the address, another birth date", clues(name(voter), birth_dates=other, **near), None
        )
        yield Case(family, "a namesake by name and address, guarded", clues(name(voter), **near), None, guarded=True)
        far = {"addresses": (AddressClue(people_nowhere(chance), "", voter.city),)}
        yield Case(family, "a namesake of the town", clues(name(voter), birth_dates=other, **far), None)
        same_day = clues(f"{first} {chance.choice(FAMILY)}", birth_dates=born(voter), **far)
        yield Case(family, "the same birth date", same_day, None)
        near_name = clues(f"{voter.first_name} {typo(voter.last_name, chance)}", birth_dates=other, **far)
        yield Case(family, "a family name like it", near_name, None)
        its_id = id_slip(voter.voter_id, chance)
        if its_id not in ids:
            wrong_id = clues(f"{first} {chance.choice(FAMILY)}", voter_ids=(its_id,), birth_dates=other)
            yield Case(family, "an id like it", wrong_id, None)
            yield Case(
                family,
                "a namesake with an id like it",
                clues(name(voter), voter_ids=(its_id,), birth_dates=other),
                None,
            )
        foreign = clues(f"{first} {chance.choice(FAMILY)}", voter_ids=(voter.voter_id,))
        yield Case(family, "another's id", foreign, None)
