"""The one way in: a letter becomes a reading. Pure: no clock, no database, no network."""

from __future__ import annotations

from replacements.mail.letter import Letter
from replacements.reading.kinds import find_kinds
from replacements.reading.people import find_people
from replacements.reading.types import Flag, Reading

_MANY = 4


def read(letter: Letter) -> Reading:
    """What the letter asks, and about whom. The same letter always gives the same reading; no letter makes it fail."""
    found = find_kinds(letter)
    people = find_people(letter, found)
    flags = found.flags | {Flag.MANY_PEOPLE} if len(people) >= _MANY else found.flags
    return Reading(
        language=found.language,
        kinds=found.kinds,
        people=people,
        topics=found.topics,
        flags=flags,
        flag_words=found.flag_words,
    )
