"""The words of an address line, and the line they make."""

from __future__ import annotations

import re
from dataclasses import dataclass

_TOKEN = re.compile(
    r"\d+(?:st|nd|rd|th)\b|\d+[A-Za-z]?(?:-\d{1,5}[A-Za-z]?)?\b|[A-Za-zÀ-ɏḀ-ỹ][A-Za-zÀ-ɏḀ-ỹ'’\-]*\.?|\n|\S", re.I
)
HOUSE = re.compile(r"\d{1,6}[A-Za-z]?(?:-\d{1,5}[A-Za-z]?)?$")


@dataclass(frozen=True, slots=True)
class Token:
    start: int
    end: int
    text: str

    @property
    def word(self) -> str:
        return self.text.rstrip(".").lower()

    @property
    def is_word(self) -> bool:
        return self.text[0].isalpha() and self.text[0] < "ἀ"

    @property
    def is_capital(self) -> bool:
        return self.text[0].isupper()


@dataclass(frozen=True, slots=True)
class StreetLine:
    """A street line with what follows it. `sure`: has a number and a street word, or is a box or route."""

    start: int
    end: int
    street: str
    unit: str = ""
    city: str = ""
    state: str = ""
    zip: str = ""
    sure: bool = True
    numbered: bool = True


def tokens(text: str) -> list[Token]:
    return [Token(m.start(), m.end(), m[0]) for m in _TOKEN.finditer(text)]
