"""One plain form of what people write, for comparing: lower case, no accents, straight quotation marks.

Offsets into the plain form lead back to the text as written, so that words can always be shown as they were written.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from functools import lru_cache

_SPECIAL = {
    "’": "'", "‘": "'", "ʼ": "'", "`": "'", "´": "'", "“": '"', "”": '"', "«": '"', "»": '"', "–": "-", "—": ",",
    "‐": "-", "‑": "-", "\u00a0": " ", "\u202f": " ", "\u3000": " ", "\t": " ", "đ": "d", "Đ": "d", "ø": "o", "ł": "l",
    "ß": "s", "…": ".", "？": "?", "！": "!", "。": ".", "，": ",",
}  # fmt: skip
_LOOSE_MARKS = re.compile("[\u0300-\u036f\u1100-\u11ff\u200b-\u200f\u00ad\ufe0f]")
_INVISIBLE = frozenset("\u200b\u200c\u200d\u200e\u200f\u00ad\ufe0f")


@dataclass(frozen=True, slots=True)
class Folded:
    """`text` is the plain form; `origin[i]` is the offset in the text as written of character `i` (None: `i`)."""

    text: str
    origin: tuple[int, ...] | None = None

    def span(self, start: int, end: int) -> tuple[int, int]:
        """The stretch of the text as written that a stretch of the plain form stands for."""
        if self.origin is None:
            return start, end
        return self.origin[start], self.origin[end]


@lru_cache(maxsize=4096)
def _plain(char: str) -> str:
    if char in _SPECIAL:
        return _SPECIAL[char]
    # Hangul and other scripts are kept whole: taken apart they would no longer be what the cue files say.
    base = unicodedata.normalize("NFD", char)[0] if ord(char) < 0x2000 else char
    lower = base.lower()
    return lower if len(lower) == 1 else base


def fold(text: str) -> Folded:
    """The plain form of a text. Written-out combining marks are dropped, loose Hangul letters are joined."""
    if text.isascii():
        return Folded(text.lower().replace("`", "'").replace("\t", " "))
    if not _LOOSE_MARKS.search(text):
        return Folded("".join(map(_plain, text)))
    out: list[str] = []
    origin: list[int] = []
    at = 0
    while at < len(text):
        end = at + 1
        while end < len(text) and (unicodedata.combining(text[end]) or "\u1160" <= text[end] <= "\u11ff"):
            end += 1
        for char in unicodedata.normalize("NFC", text[at:end]):
            if char not in _INVISIBLE and not unicodedata.combining(char):
                out.append(_plain(char))
                origin.append(at)
        at = end
    origin.append(len(text))
    return Folded("".join(out), tuple(origin))
