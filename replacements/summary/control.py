"""Control charts and intervals: is this day's number more than chance would make it?

Three-sigma limits for rates per unit (u chart) and for shares (p chart) as in the NIST/SEMATECH e-Handbook of
Statistical Methods, 6.3.3; Wilson's interval for a share as in Newcombe, Statistics in Medicine 17 (1998) 857;
percentiles by linear interpolation between ranks.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

SIGMAS = 3.0
NORMAL_95 = 1.959963984540054
FALSE_ALARM = 0.01


@dataclass(frozen=True, slots=True)
class Point:
    """One subgroup: its value and the limits for its size. `outside` means beyond a limit; on it is within."""

    value: float
    lower: float
    upper: float

    @property
    def outside(self) -> bool:
        return self.value < self.lower or self.value > self.upper


@dataclass(frozen=True, slots=True)
class Chart:
    """The mean over all subgroups, and each subgroup against the limits around it."""

    mean: float
    points: tuple[Point, ...]


def u_chart(counts: Sequence[float], sizes: Sequence[float]) -> Chart:
    """Events per unit: `counts` events in `sizes` units (above 0) each. Limits u ± 3 √(u/n), the lower at least 0."""
    mean = _mean(counts, sizes)
    points = []
    for count, size in zip(counts, sizes, strict=True):
        spread = SIGMAS * math.sqrt(mean / size)
        points.append(Point(count / size, max(0.0, mean - spread), mean + spread))
    return Chart(mean, tuple(points))


def p_chart(counts: Sequence[float], sizes: Sequence[float]) -> Chart:
    """Shares: `counts` of `sizes` each. Limits p ± 3 √(p(1-p)/n), kept between 0 and 1."""
    mean = _mean(counts, sizes)
    points = []
    for count, size in zip(counts, sizes, strict=True):
        spread = SIGMAS * math.sqrt(mean * (1 - mean) / size)
        points.append(Point(count / size, max(0.0, mean - spread), min(1.0, mean + spread)))
    return Chart(mean, tuple(points))


@lru_cache(maxsize=1_000)  # the same hour of each day of a week
def most_by_chance(expected: float, tries: int) -> int:
    """The most events that chance alone brings where `expected` are to be expected and `tries` such numbers are looked
    at: in one summary of a hundred some number lies beyond (Poisson's distribution, Bonferroni's correction)."""
    left = FALSE_ALARM / max(tries, 1)
    term = math.exp(-expected)
    below, most = term, 0
    while 1 - below > left and most < 10_000:
        most += 1
        term *= expected / most
        below += term
    return most


def wilson(count: int, size: int, z: float = NORMAL_95) -> tuple[float, float]:
    """Wilson's score interval for the share `count` / `size`; (0, 1) where there is nothing to go by."""
    if size == 0:
        return 0.0, 1.0
    share = count / size
    middle = share + z * z / (2 * size)
    spread = z * math.sqrt(share * (1 - share) / size + z * z / (4 * size * size))
    whole = 1 + z * z / size
    return max(0.0, (middle - spread) / whole), min(1.0, (middle + spread) / whole)


def percentile(values: Sequence[float], share: float) -> float | None:
    """The value below which that share of the values lies; None for no values."""
    if not values:
        return None
    ordered = sorted(values)
    rank = (len(ordered) - 1) * share
    below = math.floor(rank)
    above = min(below + 1, len(ordered) - 1)
    return ordered[below] + (ordered[above] - ordered[below]) * (rank - below)


def _mean(counts: Sequence[float], sizes: Sequence[float]) -> float:
    whole = sum(sizes)
    return sum(counts) / whole if whole else 0.0
