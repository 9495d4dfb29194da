"""Two versions of a text side by side: the words that were taken out and put in, in their order."""

from __future__ import annotations

import re
from dataclasses import dataclass
from difflib import SequenceMatcher


@dataclass(frozen=True, slots=True)
class Piece:
    """A stretch of words. `kind`: same, out (only the old version has it) or in (only the new one)."""

    kind: str
    text: str


def differences(old: str, new: str) -> list[Piece]:
    """What changed from one text to the other, word by word; together the pieces make up both."""
    before, after = _words(old), _words(new)
    pieces: list[Piece] = []
    for kind, a, b, c, d in SequenceMatcher(None, before, after, autojunk=False).get_opcodes():
        if kind == "equal":
            pieces.append(Piece("same", "".join(before[a:b])))
            continue
        if b > a:
            pieces.append(Piece("out", "".join(before[a:b])))
        if d > c:
            pieces.append(Piece("in", "".join(after[c:d])))
    return pieces


def _words(text: str) -> list[str]:
    """Words, tags and white space, each by itself."""
    return re.findall(r"\{[{%].*?[}%]\}|\s+|[^\s{]+|\{", text, re.DOTALL)
