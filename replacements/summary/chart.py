"""Small charts as inline SVG. Each has a title and a description that says the numbers in words, so nobody needs to see
it; bars carry their numbers, and nothing depends on colour alone. Colours are the page's (`currentColor`).
"""

from __future__ import annotations

from collections.abc import Sequence

import svg

from replacements.summary.drawing import (
    HEIGHT,
    INK,
    LEFT,
    RIGHT,
    WIDTH,
    bar,
    dot,
    height_of,
    label,
    line,
    picture,
    short,
)
from replacements.summary.figures import Week
from replacements.summary.fortnight import OneDay


def requests_per_day(week: Week) -> str:
    """Bars: how many requests came in on each day of the week."""
    said = ", ".join(f"{day.day:%A} {day.requests}" for day in week.days)
    most = max([day.requests for day in week.days] + [1])
    step, floor = (WIDTH - LEFT - RIGHT) / len(week.days), height_of(0, most)
    parts: list[svg.Element] = [line(LEFT, floor, WIDTH - RIGHT, floor)]
    for place, day in enumerate(week.days):
        x, top = LEFT + place * step, height_of(day.requests, most)
        parts += [
            bar(x + step * 0.2, top, step * 0.6, floor - top),
            label(x + step / 2, top - 5, str(day.requests)),
            label(x + step / 2, HEIGHT - 9, f"{day.day:%a}"),
        ]
    return picture("requests-per-day", "Requests per day", f"Requests that came in, day by day: {said}.", parts)


def reissue_rate(week: Week) -> str:
    """Points: reissues per thousand ballots out on each day, between their control limits."""
    known = [(place, day.day, day.rate) for place, day in enumerate(week.days) if day.rate is not None]
    words = [f"{day:%A} {rate.value:.2f}" + (" (outside the limits)" if rate.outside else "") for _, day, rate in known]
    said = f"Day by day: {', '.join(words)}." if known else "No ballot was out in this week."
    most = max([max(rate.upper, rate.value) for _, _, rate in known], default=1.0) or 1.0
    step, floor = (WIDTH - LEFT - RIGHT) / len(week.days), height_of(0, most)
    parts: list[svg.Element] = [line(LEFT, floor, WIDTH - RIGHT, floor)]
    if known and week.mean_rate is not None:
        mean = height_of(week.mean_rate, most)
        parts.append(line(LEFT, mean, WIDTH - RIGHT, mean, 2, 4))
    for place, _, rate in known:
        left, middle, high = LEFT + place * step, LEFT + (place + 0.5) * step, height_of(rate.value, most)
        for limit in (height_of(rate.lower, most), height_of(rate.upper, most)):
            parts.append(line(left, limit, left + step, limit, 6, 3))
        parts.append(dot(middle, high, ring=rate.outside))
        parts.append(label(middle, high - (12 if rate.outside else 9), f"{rate.value:.2f}" + " !" * rate.outside))
    for place, day in enumerate(week.days):
        parts.append(label(LEFT + (place + 0.5) * step, HEIGHT - 9, f"{day.day:%a}"))
    return picture("reissue-rate", "Reissues per thousand ballots out", said, parts)


def two_weeks(days: Sequence[OneDay]) -> str:
    """Bars: the requests that came in on each day; over them a line with squares: those that were decided."""
    said = "; ".join(f"{one.day:%A, %B} {one.day.day}: {one.came} came in, {one.decided} decided" for one in days)
    most = max([*(one.came for one in days), *(one.decided for one in days), 1])
    step, floor = (WIDTH - LEFT - RIGHT) / len(days), height_of(0, most)
    parts: list[svg.Element] = [line(LEFT, floor, WIDTH - RIGHT, floor)]
    points = []
    for place, one in enumerate(days):
        x, middle, top = LEFT + place * step, LEFT + (place + 0.5) * step, height_of(one.came, most)
        parts.append(bar(x + step * 0.18, top, step * 0.64, floor - top, of="came"))
        if one.came:
            parts.append(label(middle, top - 5, str(one.came)))
        parts.append(label(middle, HEIGHT - 8, f"{one.day:%a}"[:2]))
        parts.append(label(middle, HEIGHT + 12, str(one.day.day)))
        points.append((middle, height_of(one.decided, most)))
    way = [svg.Point(short(x), short(y)) for x, y in points]
    parts.append(svg.Polyline(points=way, fill="none", class_=["decided"]))
    parts += [bar(x - 3.5, y - 3.5, 7, 7, of="decided") for x, y in points]
    return picture("two-weeks", "Requests of the last two weeks", f"Day by day: {said}.", parts, HEIGHT + 18)


def filling(packets: int, undecided: int) -> str:
    """One bar: the packets that are in a mailing, filled; what may still join it once it is decided, hatched."""
    hatch = svg.Pattern(
        id="hatched",
        width=6,
        height=6,
        patternUnits="userSpaceOnUse",
        patternTransform=[svg.Rotate(45)],
        elements=[svg.Rect(width=2.5, height=6, fill=INK)],
    )
    full = (WIDTH - 2) * packets / max(packets + undecided, 1)
    parts: list[svg.Element] = [
        svg.Defs(elements=[hatch]),
        bar(1, 1, WIDTH - 2, 32, fill="none", stroke=INK),
        bar(1, 1, full, 32),
    ]
    if undecided:
        parts.append(bar(1 + full, 1, WIDTH - 2 - full, 32, fill="url(#hatched)"))
    said = f"{packets} in it; {undecided} more may join it once decided."
    return picture("filling", "How full the mailing is", said, parts, height=34)
