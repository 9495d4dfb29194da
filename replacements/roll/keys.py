"""The keys that voters are found by. Several and independent: a slip anywhere leaves another key whole. Pure.

A key is a letter for its kind, a colon and what it is made of. `voter_keys` are kept with the voter, `clue_keys` are
looked up; a voter with any key in common is a candidate, and only the weighing decides.

| kind | made of | survives |
|---|---|---|
| v | voter id (looked up with every id that is one slip away, too) | everything else wrong |
| n | family name (each part; former name), letter of a given name | slips in given name, address, date |
| m | family name, given name | common names, where `n` has too many voters |
| x | sound of the family name, letter of the given name | slips in the family name |
| y | given name, first letter of the family name | slips in the family name; `Owen Q.` |
| p | sound of the family name, birth year | a short form or another given name |
| b | birth date | any slip in the name |
| a | house number, skeleton of the street (both addresses) | any name |
| f | given name, skeleton of the street | a slip in the house number, another family name |
| l | family name | a family name alone |
| e, t | e-mail, telephone on file | any name |
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from functools import lru_cache
from typing import TypeVar

from replacements.roll.address_fit import place_of, places_on_file
from replacements.roll.addresses import Delivery, street_skeleton
from replacements.roll.dates import parts
from replacements.roll.names import NameOnFile, Written, bare_parts, on_file, read_name, surname_parts
from replacements.roll.nicknames_known import relatives
from replacements.roll.phones import digits
from replacements.roll.romanisation import (
    given_letters,
    romanise,
    same_surname,
    spellings,
    split_name,
    surname_spellings,
)
from replacements.roll.types import Clues, Voter

VERSION = "3"  # raise it when a key changes: the keys of every voter are then made anew

Found = TypeVar("Found")
_GROUPS = {"bpfv": "1", "cgkqsxzj": "2", "dt": "3", "l": "4", "mn": "5", "r": "6"}
_SOUNDS = str.maketrans({letter: code for letters, code in _GROUPS.items() for letter in letters})


@lru_cache(maxsize=1024)
def name_sound(name: str) -> str:
    """The first letter and the consonants by groups of like sound (Soundex, US patent 1,261,167)."""
    if not name:
        return ""
    coded = re.sub(r"[^0-9]", "", re.sub(r"(\d)(?:[hw]?\1)+", r"\1", name[1:].translate(_SOUNDS)))
    return name[0] + coded[:4]


def name_of(voter: Voter) -> NameOnFile:
    return on_file(voter.first_name, voter.middle_name, voter.last_name, voter.former_last_name, voter.suffix)


def voter_keys(voter: Voter) -> frozenset[str]:
    """All keys of a voter, a dozen or two."""
    name = name_of(voter)
    found = {f"v:{voter.voter_id.casefold()}"}
    year, month, day = parts(voter.birth_date)
    first = "".join(name.first)
    letters = {token[0] for token in (*name.first[:2], *name.middle[:1])}
    for whole, tokens, _ in name.lasts:
        for last in {whole, *surname_parts(tokens), *bare_parts(tokens)}:
            found.add(f"l:{last}")
            found.update(f"n:{last}:{letter}" for letter in letters)
            found.update(f"m:{last}:{given}" for given in {first, *name.first[:1]})
            if year is not None:
                found.add(f"p:{name_sound(last)}:{year}")
        if first:
            found.add(f"x:{name_sound(whole)}:{first[0]}")
            found.update(f"y:{given}:{whole[0]}" for given in {first, *name.first[:1]})
    if year is not None and month is not None:
        found.add(f"b:{year}-{month}-{day}")
    for spot in places_on_file(voter):
        if spot is not None:
            found.update(address_keys(spot.delivery, {first, *name.first[:1]}))
    if voter.email:
        found.add(f"e:{voter.email.strip().casefold()}")
    if number := digits(voter.phone):
        found.add(f"t:{number[-7:]}")
    return frozenset(found)


def address_keys(delivery: Delivery, given: Iterable[str] = ()) -> Iterator[str]:
    skeleton = street_skeleton(delivery)
    if not skeleton:
        return
    if delivery.kind in ("street", "box", "general"):
        yield f"a:{delivery.number}:{skeleton}"
    elif delivery.unit_number:
        yield f"a:{delivery.unit_number}:{skeleton}"
    yield from (f"f:{name}:{skeleton}" for name in given if name)


def household_keys(voter: Voter) -> frozenset[str]:
    """The keys that find everybody at a voter's registered and mailing address."""
    found: set[str] = set()
    for spot in places_on_file(voter):
        if spot is not None:
            found.update(address_keys(spot.delivery))
    return frozenset(found)


def clue_keys(clues: Clues) -> frozenset[str]:
    """All keys under which the person whom the clues describe may stand."""
    found: set[str] = set()
    given: set[str] = set()
    years = {year for year, _, _ in clues.birth_dates if year is not None}
    for text in clues.names[:6]:
        for written in read_name(text):
            found.update(_name_keys(written, years))
            given.update(written.tokens[:4])
    for name in tuple(given):
        given.update(relatives(name))
    for voter_id in clues.voter_ids:
        found.update(f"v:{each}" for each in ids_near(voter_id.strip().casefold()))
    found.update(f"v:{owner.casefold()}" for owner in clues.ballot_owners)
    for year, month, day in clues.birth_dates:
        if year is not None and month is not None and day is not None:
            found.update((f"b:{year}-{month}-{day}", f"b:{year}-{day}-{month}"))
    for clue in clues.addresses:
        found.update(address_keys(place_of(clue).delivery, given))
    found.update(f"e:{email.strip().casefold()}" for email in clues.emails if email.strip())
    found.update(f"t:{number[-7:]}" for phone in clues.phones if (number := digits(phone)))
    return frozenset(found)


def _name_keys(written: Written, years: set[int]) -> Iterator[str]:
    if written.hangul:
        family, after = split_name(written.hangul)
        for last in surname_spellings(family):
            yield f"l:{last}"
            yield from (f"n:{last}:{letter}" for letter in given_letters(after))
            yield f"m:{last}:{romanise(after)}"
            yield from (f"p:{name_sound(last)}:{year}" for year in years)
        return
    tokens = written.tokens[:7]
    for start in range(len(tokens)):
        for end in range(start + 1, min(len(tokens), start + 3) + 1):
            last = "".join(tokens[start:end])
            rest = (*tokens[:start], *tokens[end:])
            if len(last) < 2:
                yield from (f"y:{each}:{last}" for word in rest for each in (word, *relatives(word)))
                continue
            lasts = {last} | (_korean_spellings(last) if end - start == 1 else set())
            for each in lasts:
                yield from _last_keys(each, rest, years)


def _korean_spellings(last: str) -> set[str]:
    return {other for other in spellings().groups.get(last, ()) if same_surname(last, other)}


def _last_keys(last: str, rest: tuple[str, ...], years: set[int]) -> Iterator[str]:
    yield from (f"p:{name_sound(last)}:{year}" for year in years)
    if not rest:
        yield f"l:{last}"
        return
    for word in {*rest[:4], "".join(rest)}:
        others = relatives(word)
        for letter in {word[0], *(other[0] for other in others)}:
            yield f"n:{last}:{letter}"
        yield f"x:{name_sound(last)}:{word[0]}"
        yield from (f"y:{each}:{last[0]}" for each in (word, *others))
        if len(word) > 1:
            yield from (f"m:{last}:{each}" for each in (word, *others))


def kind_bit(key: str) -> int:
    """The kind of a key as one bit; kinds of several keys are or-ed together."""
    return 1 << (ord(key[0]) - 97)


def _bits(kinds: str) -> int:
    return sum(map(kind_bit, kinds))


_FULL_NAME, _FACT, _NAME = _bits("m"), _bits("abetv"), _bits("mnxy")
_SOUNDS_ALIKE, _SAME_FAMILY = _bits("xyl"), _bits("xyln")
_ALONE = frozenset(map(_bits, ("b", "p", "px", "py")))  # strangers born on the day, or in the year with a like name
MOST_WEIGHED = 160  # voters for one message; more would be namesakes in part, found by nothing else


def worth_weighing(found: Mapping[Found, int]) -> list[Found]:
    """Of those who share keys with a message, by the kinds of these keys (`kind_bit`): whom it is worth to weigh.

    Where somebody has the full name, or half of it and a fact (address, birth date, account, id), those are left out
    who have nothing but a like-sounding name; where somebody has the full name and a fact, those, too, who have the
    family name alone, or who were born on the day and have nothing of the name. Of too many the ones with the fewest
    kinds are left out, all that have as few.
    """
    left_out = 0
    alone: frozenset[int] = frozenset()
    for kinds in found.values():
        if kinds & _FACT and kinds & _FULL_NAME:
            left_out, alone = _SAME_FAMILY, _ALONE
            break
        if kinds & _FULL_NAME or (kinds & _FACT and kinds & _NAME):
            left_out |= _SOUNDS_ALIKE
    kept = [one for one, kinds in found.items() if kinds & ~left_out and kinds not in alone]
    if len(kept) > MOST_WEIGHED:
        least = sorted(((found[one] & _FACT > 0) * 32 + found[one].bit_count() for one in kept), reverse=True)
        bar = least[MOST_WEIGHED]
        kept = [one for one in kept if (found[one] & _FACT > 0) * 32 + found[one].bit_count() > bar]
    return kept


def ids_near(voter_id: str) -> frozenset[str]:
    """An id and every id that is one slip of the keyboard away: a digit wrong, left out or doubled up, two swapped."""
    found = {voter_id}
    if not 4 <= len(voter_id) <= 16:
        return frozenset(found)
    for at, character in enumerate(voter_id):
        before, after = voter_id[:at], voter_id[at + 1 :]
        if after:
            found.add(before + after[0] + character + after[1:])
        found.add(before + after)
        if character.isdigit():
            found.update(before + digit + after for digit in "0123456789")
            found.update(before + digit + character + after for digit in "0123456789")
    if voter_id[-1].isdigit():
        found.update(voter_id + digit for digit in "0123456789")
    return frozenset(found)
