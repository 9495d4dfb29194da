"""Where a mail that speaks of several people tells of one and then of another.

"I spoiled mine and my husband never got his" asks two things in one sentence; as a whole it sounds mostly like one.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from replacements.reading.signs import Signs

_SEVERAL = frozenset({"k:kin", "k:both_of_us", "k:parent", "k:others_have"})
_ENDS = re.compile(
    r"(?<=[.!?])\s+|\n+|[;—–]\s*|,?(?<!\s)\s++(?:and|but|while|y|pero|và|nhưng|còn)\s+|,\s+|(?<=고)\s|(?<=는데)\s|(?<=만)\s",
    re.IGNORECASE,
)
_FEWEST_WORDS = 3
_FEWEST_SYLLABLES = 5  # of a language that joins its words up
_MOST = 40  # clauses looked at


def speaks_of_several(signs: Signs) -> bool:
    """Whether somebody's kin, or others who have theirs, come up."""
    return any(not _SEVERAL.isdisjoint(group) for group in signs)


def clauses(text: str) -> Iterator[tuple[int, int]]:
    """Stretches of a text that may tell of one person each."""
    at = count = 0
    ends = [(m.start(), m.end()) for m in _ENDS.finditer(text)]
    for stop, after in [*ends, (len(text), len(text))]:
        clause = text[at:stop]
        if len(clause.split()) >= _FEWEST_WORDS or (not clause.isascii() and len(clause) >= _FEWEST_SYLLABLES):
            yield at, stop
            count += 1
        at = after
        if count == _MOST:
            return
