"""Slips of the pen and the keyboard, each made by chance from a fixed seed."""

from __future__ import annotations

import random

KEYS_BESIDE = dict(
    zip("abcdefghijklmnopqrstuvwxyz", "sncxedfghjlknbopwresybeaxsz", strict=False)
)  # one neighbour of each key is enough


def typo(word: str, chance: random.Random) -> str:
    """One slip inside a word of five letters or more, never in its first or last letter; a shorter word stays."""
    inner = [place for place in range(1, len(word) - 2) if word[place].isalpha() and word[place + 1].isalpha()]
    if len(word) < 5 or not inner:
        return word
    at = chance.choice(inner)
    kind = chance.randrange(4)
    if kind == 0 and word[at] != word[at + 1]:
        return word[:at] + word[at + 1] + word[at] + word[at + 2 :]
    if kind == 1:
        return word[:at] + word[at + 1 :]
    if kind == 2:
        return word[: at + 1] + word[at:]
    return word[:at] + KEYS_BESIDE.get(word[at].lower(), "x") + word[at + 1 :]


def digits_swapped(number: str, chance: random.Random) -> str:
    """Two neighbouring digits the other way round; where all are alike, the last is one more."""
    places = [p for p in range(len(number) - 1) if number[p : p + 2].isdigit() and number[p] != number[p + 1]]
    if not places:
        return number[:-1] + str((int(number[-1]) + 1) % 10)
    at = chance.choice(places)
    return number[:at] + number[at + 1] + number[at] + number[at + 2 :]


def digit_wrong(number: str, chance: random.Random) -> str:
    at = chance.choice([place for place, character in enumerate(number) if character.isdigit()])
    return number[:at] + str((int(number[at]) + chance.randint(1, 9)) % 10) + number[at + 1 :]


def digit_lost(number: str, chance: random.Random) -> str:
    at = chance.choice([place for place, character in enumerate(number) if character.isdigit()])
    return number[:at] + number[at + 1 :]


def id_slip(voter_id: str, chance: random.Random) -> str:
    return chance.choice((digits_swapped, digit_wrong, digit_lost))(voter_id, chance)


def date_slip(born: tuple[int, int, int], chance: random.Random) -> tuple[int, int, int]:
    """One part of a birth date wrong, as people mistype it: a day off, two digits swapped, day for month."""
    year, month, day = born
    kind = chance.randrange(5)
    if kind == 0:
        return year, month, day + 1 if day < 28 else day - 1
    if kind == 1 and day >= 10 and day % 10 in (1, 2) and day % 11:
        return year, month, int(f"{day:02}"[::-1])
    if kind == 2 and day <= 12 and day != month:
        return year, day, month
    if kind == 3:
        return year, month + 1 if month < 12 else 11, day
    return year + chance.choice((-1, 1)), month, day
