"""The features of a text that the learned weights are over: words, pairs of words, and pieces of words.

Pieces of words carry typos, endings and languages written without spaces. Everything is taken from the plain form.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from replacements.reading.folding import Folded

Place = tuple[int, int]  # a stretch of the plain form

_WORD = re.compile(r"[^\W\d_]+(?:'[^\W\d_]+)?|\d+")
_LONGEST = 6_000  # characters that are looked at: what a writer wants stands in no mail after that


def words(folded: Folded) -> Iterator[tuple[str, int, int]]:
    """(word, start, end) in the plain form; numbers become their length, so that no id is ever a feature."""
    for match in _WORD.finditer(folded.text[:_LONGEST]):
        word = match[0]
        yield (f"#{len(word)}" if word[0].isdigit() else word), match.start(), match.end()


def features(folded: Folded) -> tuple[dict[str, Place], dict[str, Place], dict[str, Place]]:
    """Words, pairs of words and pieces of words, each once, with the place where it first stands."""
    single: dict[str, Place] = {}
    pairs: dict[str, Place] = {}
    pieces: dict[str, Place] = {}
    before, begun = "^", 0
    for word, start, end in words(folded):
        pairs.setdefault(f"{before} {word}", (begun, end))
        if word not in single:
            single[word] = (start, end)
            if not word.startswith("#"):
                for piece in _pieces(word):
                    pieces.setdefault(piece, (start, end))
        before, begun = word, start
    return single, pairs, pieces


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
