"""The checksums of a voter's keys, for millions of voters at once. Pure.

`of_values` gives the CRC-32 of every key of `keys.voter_keys`, at a tenth of the time: what many voters share (a family
name, a given name, a street, a birth date) is worked out once, and the checksum of a key is carried on from that of its
beginning. A test holds the two against each other.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import lru_cache
from typing import Any, NamedTuple
from zlib import crc32

from replacements.roll.address_fit import place
from replacements.roll.addresses import parse, street_skeleton
from replacements.roll.dates import parts
from replacements.roll.keys import address_keys, name_sound
from replacements.roll.names import bare_parts, fold, surname_parts, surname_tokens
from replacements.roll.phones import digits

_KEPT = 32768
_PLAIN_WORDS = re.compile(r"[A-Za-z][A-Za-z0-9 ]*")
_DIGITS = 7  # of a plain house number


def checksum(key: str) -> int:
    return crc32(key.encode())


_V, _E, _T, _A = (checksum(kind + ":") for kind in "veta")


class _Given(NamedTuple):
    """Given names on file: (as the keys have them, checksum of `y:name:`, of `f:name:` or 0 for the empty name)."""

    names: tuple[tuple[bytes, int, int], ...]
    first_letter: bytes
    letters: tuple[bytes, ...]


class _Family(NamedTuple):
    """A family name on file: the checksums that letters, years and given names are added to."""

    forms: tuple[tuple[int, int, int, int], ...]  # of each form, of `l:form`, `n:form:`, `m:form:` and `p:sound:`
    with_first_letter: int  # x:sound:
    letter: bytes


def of_values(values: tuple[Any, ...]) -> set[int]:
    """The checksums of the keys of a voter, from the values of a `Voter` in order."""
    voter_id, last_name, first_name, middle_name, _, birth_date, street, unit, city, _, zip_code = values[:11]
    mail_street, mail_unit, mail_city, _, mail_zip, _, _, _, _, email, phone, former_last_name = values[11:23]
    given, first_letter, letters = _given(first_name)
    if middle_name and (middle := _middle_letter(middle_name)) and middle not in letters:
        letters = (*letters, middle)
    year, born = _born(birth_date)
    found = {crc32(voter_id.casefold().encode(), _V)}
    add = found.add
    for text in (last_name, former_last_name) if former_last_name else (last_name,):
        family = _family(text)
        if family is None:
            continue
        forms, with_first_letter, letter = family
        for alone, with_letter, with_given, with_year in forms:
            add(alone)
            for one in letters:
                add(crc32(one, with_letter))
            for name in given:
                add(crc32(name[0], with_given))
            if year:
                add(crc32(year, with_year))
        if first_letter:
            add(crc32(first_letter, with_first_letter))
            for name in given:
                add(crc32(letter, name[1]))
    if born:
        add(born)
    _add_address(found, street, unit, city, zip_code, given)
    if mail_street or mail_unit:
        _add_address(found, mail_street, mail_unit, mail_city, mail_zip, given)
    if email:
        add(crc32(email.strip().casefold().encode(), _E))
    if phone and (number := digits(phone)):
        add(crc32(number[-7:].encode(), _T))
    return found


@lru_cache(maxsize=_KEPT)
def _family(text: str) -> _Family | None:
    tokens = surname_tokens(text)
    if not tokens:
        return None
    whole = "".join(tokens)
    forms = sorted({whole, *surname_parts(tokens), *bare_parts(tokens)}) if len(tokens) > 1 else tokens
    return _Family(
        tuple(
            (checksum(f"l:{form}"), checksum(f"n:{form}:"), checksum(f"m:{form}:"), checksum(f"p:{name_sound(form)}:"))
            for form in forms
        ),
        checksum(f"x:{name_sound(whole)}:"),
        whole[0].encode(),
    )


@lru_cache(maxsize=_KEPT)
def _given(text: str) -> _Given:
    tokens = fold(text).split()
    joined = "".join(tokens)
    names = sorted({joined, *tokens[:1]})
    return _Given(
        tuple((name.encode(), checksum(f"y:{name}:"), checksum(f"f:{name}:") if name else 0) for name in names),
        joined[:1].encode(),
        tuple(sorted({token[0].encode() for token in tokens[:2]})),
    )


@lru_cache(maxsize=_KEPT)
def _middle_letter(text: str) -> bytes:
    return fold(text)[:1].encode()


@lru_cache(maxsize=_KEPT)
def _born(birth_date: str) -> tuple[bytes, int]:
    """(the year as it stands in keys, checksum of the whole date's key); b"" and 0 for what is not known."""
    year, month, day = parts(birth_date)
    if year is None:
        return b"", 0
    return str(year).encode(), checksum(f"b:{year}-{month}-{day}") if month is not None else 0


@lru_cache(maxsize=_KEPT)
def _plain_street(words: str) -> tuple[bytes, bytes] | None:
    """The skeleton of a street behind a plain house number, alone and after a colon; None where the line has to be
    read whole."""
    if not _PLAIN_WORDS.fullmatch(words):
        return None
    delivery = parse("1 " + words)
    if delivery.kind != "street" or delivery.number != "1" or not (skeleton := street_skeleton(delivery)):
        return None
    return skeleton.encode(), b":" + skeleton.encode()


def _add_address(
    found: set[int], street: str, unit: str, city: str, zip_code: str, given: Iterable[tuple[bytes, int, int]]
) -> None:
    """The same street has thousands of house numbers: it is read once."""
    number, _, words = street.partition(" ")
    if number.isdecimal() and number.isascii() and len(number) <= _DIGITS and (skeleton := _plain_street(words)):
        found.add(crc32(number.encode() + skeleton[1], _A))
        for _, _, start in given:
            if start:
                found.add(crc32(skeleton[0], start))
    elif street or unit:
        names = [name.decode() for name, _, _ in given]
        found.update(map(checksum, address_keys(place(street, unit, city, zip_code).delivery, names)))
