"""Small numbers are held back before anything is published, and so much beside them that they cannot be worked out.

A number from 1 to SMALLEST - 1 may point at a person. Where the table's sum is known, one hidden number is the sum less
the others, and two hidden ones of small sum leave little choice. So further numbers are hidden, the smallest first,
until each hidden one could be any of at least SMALLEST different numbers. A zero is nobody, and is shown.
"""

from __future__ import annotations

from collections.abc import Mapping

SMALLEST = 10  # common practice in public statistics; a smaller number than this is held back


def suppressed(counts: Mapping[str, int]) -> dict[str, int | None]:
    """The same table in the same order, with None for a number that is held back. Where hiding all is not enough, all
    but the zeros are hidden."""
    hidden = {name for name, count in counts.items() if 0 < count < SMALLEST}
    rest = sorted((count, name) for name, count in counts.items() if count >= SMALLEST)
    while hidden and rest and not _safe(counts, hidden):
        hidden.add(rest.pop(0)[1])
    return {name: None if name in hidden else count for name, count in counts.items()}


def publishable(counts: Mapping[str, int]) -> bool:
    """Whether a table can be shown at all: not where hiding every number still leaves one of them to be worked out."""
    hidden = {name for name, count in suppressed(counts).items() if count is None}
    return not hidden or _safe(counts, hidden)


def _safe(counts: Mapping[str, int], hidden: set[str]) -> bool:
    """Whether nobody who knows the sum of all and this rule can narrow a hidden number down: each is at least 1, and at
    the most the smallest that is shown, since the smallest are hidden first."""
    whole, others = sum(counts[name] for name in hidden), len(hidden) - 1
    most = min((count for name, count in counts.items() if count and name not in hidden), default=whole)
    upper, lower = min(most, whole - others), max(1, whole - others * most)
    return others > 0 and upper - lower + 1 >= SMALLEST
