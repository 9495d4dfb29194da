"""The features of a text that the learned weights are over: words, pairs of words, and pieces of words.

Pieces of words carry typos, endings and languages written without spaces. Everything is taken from the plain form.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from replacements.reading.folding import Folded

_WORD = re.compile(r"[^\W\d_]+(?:'[^\W\d_]+)?|\d+")
_LONGEST = 6_000  # characters that are looked at: what a writer wants stands in no mail after that


def words(folded: Folded) -> Iterator[tuple[str, int, int]]:
    """(word, start, end) in the plain form; numbers become their length, so that no id is ever a feature."""
    for match in _WORD.finditer(folded.text[:_LONGEST]):
        word = match[0]
        yield (f"#{len(word)}" if word[0].isdigit() else word), match.start(), match.end()


def features(folded: Folded) -> dict[str, tuple[int, int]]:
    """Every feature of a text once, with the place (in the plain form) where it first stands."""
    found: dict[str, tuple[int, int]] = {}
    before, begun = "^", 0
    for word, start, end in words(folded):
        found.setdefault(word, (start, end))
        found.setdefault(f"{before} {word}", (begun, end))
        if not word.startswith("#"):
            for piece in _pieces(word):
                found.setdefault(piece, (start, end))
        before, begun = word, start
    return found


def _pieces(word: str) -> Iterator[str]:
    if word.isascii():
        framed = f"<{word}>"
        for size in (4, 5):
            for at in range(len(framed) - size + 1):
                yield f"~{framed[at : at + size]}"
    else:
        for size in (1, 2, 3):
            for at in range(len(word) - size + 1):
                yield f"~{word[at : at + size]}"
