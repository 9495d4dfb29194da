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
    out = put = ""
    steps = SequenceMatcher(None, before, after, autojunk=False).get_opcodes()
    for place, (kind, a, b, c, d) in enumerate(steps):
        same = "".join(before[a:b])
        # A lone space between two changed words belongs to the change: it is read as one.
        between = 0 < place < len(steps) - 1 and same in (" ", "\n")
        if kind == "equal" and not between:
            pieces += _change(out, put)
            pieces.append(Piece("same", same))
            out = put = ""
        else:
            out, put = out + same, put + "".join(after[c:d])
    return pieces + _change(out, put)


def _change(out: str, put: str) -> list[Piece]:
    return [Piece(kind, text) for kind, text in (("out", out), ("in", put)) if text]


def _words(text: str) -> list[str]:
    """Words, tags and white space, each by itself."""
    return re.findall(r"\{[{%].*?[}%]\}|\s+|[^\s{]+|\{", text, re.DOTALL)
