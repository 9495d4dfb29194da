"""The one way in: a letter becomes a reading. Pure: no clock, no database, no network."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

from replacements.mail.letter import Letter, Notice, PartLabel, Sender, TextPart
from replacements.reading.cue_files import compile_all
from replacements.reading.kinds import find_kinds
from replacements.reading.people import find_people
from replacements.reading.types import Flag, Reading

LONGEST_READ = 12_000  # characters of each kind of part: two thousand words
TOO_LONG = "too_long"  # the notice's code

_MANY = 4
_FIRST_LETTERS = (
    "I marked the wrong oval. Ann Poe, 12 Elm St, born 4/12/1958. My husband Tom never got his.",
    "Me equivoqué en la boleta. Ana Poe, 12 Elm St.",
    "Tôi làm hư lá phiếu. Nguyễn An, 12 Elm St.",
    "투표용지를 잘못 칠했습니다. 김안나, 12 Elm St.",
)


def read(letter: Letter) -> Reading:
    """What the letter asks, and about whom. The same letter always gives the same reading; no letter makes it fail."""
    letter = as_far_as_read(letter)
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


def warm() -> None:
    """Load and compile what the first letters would otherwise wait for: weights, cues, lists of names."""
    compile_all()
    for text in _FIRST_LETTERS:
        moment = datetime(2000, 1, 1, tzinfo=UTC)
        read(Letter("<first@letters.example>", Sender("a@letters.example", "Ann Poe"), "", moment, (_new(text),)))


def _new(text: str) -> TextPart:
    return TextPart(PartLabel.NEW, text)


def as_far_as_read(letter: Letter) -> Letter:
    """The letter as far as it is read. Where words of its own are left out, a notice says so."""
    left = dict.fromkeys(PartLabel, LONGEST_READ)
    parts: list[TextPart] = []
    for part in letter.parts:
        parts.append(replace(part, text=part.text[: left[part.label]]))
        left[part.label] -= len(parts[-1].text)
    if sum(map(len, (part.text for part in letter.parts))) == sum(map(len, (part.text for part in parts))):
        return letter
    if letter.text(PartLabel.NEW) == replace(letter, parts=tuple(parts)).text(PartLabel.NEW):
        return replace(letter, parts=tuple(parts))
    notice = Notice(TOO_LONG, f"The letter is very long: only its first {LONGEST_READ} characters are read here.")
    return replace(letter, parts=tuple(parts), notices=(*letter.notices, notice))
