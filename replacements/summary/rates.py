"""Rates and shares of a week: which style, which precinct, which reason, language or kind stands out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

from replacements.summary.control import u_chart, wilson
from replacements.summary.figures import Rate, Share
from replacements.summary.sums import Days


def rates(books: Days, part: str, days: Sequence[date], count: str) -> tuple[Rate, ...]:
    """One rate a style or precinct: `count` of all these days, per thousand of the most ballots that were out on any of
    them; the limits are those of a u chart over all of them. The highest rate first, then by name."""
    events = books.by_name(part, days[0], days[-1], count)
    out = {name: max(row) for name, row in books.out_by_day(days, part).items()}
    return charted(events, out)


def charted(events: Mapping[str, int], out: Mapping[str, int]) -> tuple[Rate, ...]:
    """Rates from counts; a name without ballots out has none, and bends no limit."""
    names = sorted(name for name in out if out[name] > 0)
    chart = u_chart([events.get(name, 0) for name in names], [out[name] / 1000 for name in names])
    points = dict(zip(names, chart.points, strict=True))
    found = [
        Rate(name, max(out.get(name, 0), 0), events.get(name, 0), points.get(name))
        for name in sorted({*names, *events})
    ]
    return tuple(sorted(found, key=lambda rate: (-(rate.point.value if rate.point else 0.0), rate.name)))


def shares(counts: Mapping[str, int], size: int) -> tuple[Share, ...]:
    """Each count as a share of `size`, in the order given."""
    return tuple(Share(name, count, size, *wilson(count, size)) for name, count in counts.items())
