"""A place where a text names somebody, and what is asked of it wherever it stands."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from replacements.reading.facts.names import (
    FromName,
    NameFound,
    fold,
    han_name,
    hangul_name,
    is_given,
    name_at,
)
from replacements.reading.facts.vocabulary import Vocabulary

Span = tuple[int, int]
_TWO_NAMES = re.compile(r"\s*(?:\([^)\n]{0,40}\)\s*)?,?\s*(?:and|&|y|e|và|\+|/)\s+", re.I)
_ROMAN_ASIDE = re.compile(r"\s*[(（]\s*([A-Z][\w.'’\-]*(?:[ ,]{1,2}[A-Z][\w.'’\-]*){0,4})\s*[)）]")


class How(StrEnum):
    """Where a name stands, strongest first."""

    SAID = "said"  # "my name is …", "Name: …", "… here"
    BESIDE = "beside"  # followed by a birth date, an address, an id
    SIGNED = "signed"
    FORMER = "former"  # an earlier name of the same person


@dataclass(frozen=True, slots=True)
class NamePlace:
    start: int
    end: int
    text: str
    how: How
    suffix: str = ""
    other_form: str = ""  # the same name in another script, in brackets behind it


def place_of(found: NameFound, how: How, other: str = "") -> NamePlace:
    return NamePlace(found.start, found.end, found.text, how, found.suffix, other)


def covered(start: int, end: int, spans: Sequence[Span]) -> bool:
    return any(start < e and end > s for s, e in spans)


def like_a_person(found: NameFound, words: Vocabulary, sender: FromName) -> bool:
    """Two words or more, or one that is a known given name or the sender's."""
    row = found.text.split()
    if ord(found.text[0]) > 0x2000:
        return True
    flat = [fold(w) for w in row]
    known = is_given(row[0]) or any(w in sender.words for w in flat)
    if is_a_street(row, words, sender):
        return False
    if any(w.rstrip(".").lower() in words.words["organisation"] for w in row) and not known:
        return False
    return len(row) >= 2 or known


def is_a_street(row: Sequence[str], words: Vocabulary, sender: FromName) -> bool:
    """Whether words like a name are where somebody lives ("Section Road"), and no name of the sender's."""
    return len(row) > 1 and row[-1].rstrip(".").lower() in words.words["ways"] and fold(row[-1]) not in sender.words


def other_script(text: str, at: int, words: Vocabulary) -> NameFound | None:
    if words.language == "ko":
        name = hangul_name(text, at)
        return NameFound(at, at + len(name), name) if name else None
    if words.language == "zh":
        name = han_name(text, at)
        return NameFound(at, at + len(name), name) if name else None
    return None


def aside(text: str, end: int) -> str:
    m = _ROMAN_ASIDE.match(text, end)
    return m[1].strip() if m else ""


def partner(text: str, first: NameFound, words: Vocabulary, sender: FromName) -> list[NameFound]:
    """The second name of "Ben and Imani Stewart"."""
    joint = _TWO_NAMES.match(text, first.end)
    if joint is None:
        return []
    second = name_at(text, joint.end(), words, sender.words)
    if second is None or not (
        len(second.text.split()) > 1 or is_given(second.text) or fold(second.text) in sender.words
    ):
        return []
    return [second]


def with_shared_surname(first: NameFound, second: NameFound) -> NameFound:
    row = second.text.split()
    if len(first.text.split()) == 1 and len(row) > 1:
        return replace(first, text=f"{first.text} {row[-1]}")
    return first


def known(person: NameFound, sender: FromName) -> bool:
    """A known given name, or a word of the From line."""
    row = person.text.split()
    return is_given(row[0]) or any(fold(w) in sender.words for w in row)
