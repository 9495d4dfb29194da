"""Digits and known names taken out of what a voter wrote, for a file that is to teach and not to tell."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable

from replacements.reading.folding import fold

NAME = "NAME"
_WORD = re.compile(r"[^\W\d_]+")
_SHORTEST = 2  # letters; an initial alone is also the article "a"


def names_in(written: Iterable[str]) -> frozenset[str]:
    """The words of names, in the plain form that they are looked for in."""
    return frozenset(word for name in written for word in _WORD.findall(_plain(name)) if len(word) >= _SHORTEST)


def masked(text: str, names: frozenset[str]) -> str:
    """The text with `#` for every digit, and `NAME` for every word that is one of `names`, accents and case aside.

    In scripts that put no space before an ending, or none at all, a name is found within a word too.
    """
    within = [re.escape(name) for name in sorted(names, key=lambda name: (-len(name), name)) if not _has_spaces(name)]
    inside = re.compile("|".join(within)) if within else None

    def instead(match: re.Match[str]) -> str:
        if _plain(match[0]) in names:
            return NAME
        return inside.sub(NAME, match[0]) if inside else match[0]

    composed = unicodedata.normalize("NFC", text)
    return "".join("#" if char.isdigit() else char for char in _WORD.sub(instead, composed))


def _plain(text: str) -> str:
    return fold(unicodedata.normalize("NFC", text)).text.casefold()


def _has_spaces(name: str) -> bool:
    """Whether words stand alone in the script of a name; from Thai on (Hangul, Han, Kana) they do not."""
    return ord(name[0]) < 0x0E00
