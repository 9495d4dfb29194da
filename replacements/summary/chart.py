"""Small charts as inline SVG. Each has a title and a description that says the numbers in words, so nobody needs to see
it; bars carry their numbers, and nothing depends on colour alone. Colours are the page's (`currentColor`).
"""

from __future__ import annotations

from collections.abc import Sequence
from xml.etree import ElementTree as ET

from replacements.summary.drawing import HEIGHT, LEFT, RIGHT, WIDTH, canvas, height_of, label, line, short
from replacements.summary.figures import Week
from replacements.summary.fortnight import OneDay


def requests_per_day(week: Week) -> str:
    """Bars: how many requests came in on each day of the week."""
    said = ", ".join(f"{day.day:%A} {day.requests}" for day in week.days)
    svg = canvas("requests-per-day", "Requests per day", f"Requests that came in, day by day: {said}.")
    most = max([day.requests for day in week.days] + [1])
    step = (WIDTH - LEFT - RIGHT) / len(week.days)
    line(svg, LEFT, height_of(0, most), WIDTH - RIGHT, height_of(0, most))
    for place, day in enumerate(week.days):
        x, top = LEFT + place * step, height_of(day.requests, most)
        bar = {"x": x + step * 0.2, "y": top, "width": step * 0.6, "height": height_of(0, most) - top}
        ET.SubElement(svg, "rect", {name: short(value) for name, value in bar.items()} | {"fill": "currentColor"})
        label(svg, x + step / 2, top - 5, str(day.requests))
        label(svg, x + step / 2, HEIGHT - 9, f"{day.day:%a}")
    return ET.tostring(svg, encoding="unicode")


def reissue_rate(week: Week) -> str:
    """Points: reissues per thousand ballots out on each day, between their control limits."""
    known = [(place, day.day, day.rate) for place, day in enumerate(week.days) if day.rate is not None]
    words = [f"{day:%A} {rate.value:.2f}" + (" (outside the limits)" if rate.outside else "") for _, day, rate in known]
    said = f"Day by day: {', '.join(words)}." if known else "No ballot was out in this week."
    svg = canvas("reissue-rate", "Reissues per thousand ballots out", said)
    most = max([max(rate.upper, rate.value) for _, _, rate in known], default=1.0) or 1.0
    step = (WIDTH - LEFT - RIGHT) / len(week.days)
    line(svg, LEFT, height_of(0, most), WIDTH - RIGHT, height_of(0, most))
    if known and week.mean_rate is not None:
        line(svg, LEFT, height_of(week.mean_rate, most), WIDTH - RIGHT, height_of(week.mean_rate, most), dashes="2 4")
    for place, _, rate in known:
        left, middle = LEFT + place * step, LEFT + (place + 0.5) * step
        for limit in (rate.lower, rate.upper):
            line(svg, left, height_of(limit, most), left + step, height_of(limit, most), dashes="6 3")
        dot = {"cx": short(middle), "cy": short(height_of(rate.value, most)), "r": "6" if rate.outside else "4"}
        fill = "none" if rate.outside else "currentColor"
        ET.SubElement(svg, "circle", dot | {"fill": fill, "stroke": "currentColor"})
        label(svg, middle, height_of(rate.value, most) - 9, f"{rate.value:.2f}" + (" !" if rate.outside else ""))
    for place, day in enumerate(week.days):
        label(svg, LEFT + (place + 0.5) * step, HEIGHT - 9, f"{day.day:%a}")
    return ET.tostring(svg, encoding="unicode")


def two_weeks(days: Sequence[OneDay]) -> str:
    """Bars: the requests that came in on each day; over them a line with squares: those that were decided."""
    said = "; ".join(f"{one.day:%A, %B} {one.day.day}: {one.came} came in, {one.decided} decided" for one in days)
    svg = canvas("two-weeks", "Requests of the last two weeks", f"Day by day: {said}.", height=HEIGHT + 18)
    most = max([*(one.came for one in days), *(one.decided for one in days), 1])
    step = (WIDTH - LEFT - RIGHT) / len(days)
    line(svg, LEFT, height_of(0, most), WIDTH - RIGHT, height_of(0, most))
    points = []
    for place, one in enumerate(days):
        x, middle, top = LEFT + place * step, LEFT + (place + 0.5) * step, height_of(one.came, most)
        bar = {"x": x + step * 0.18, "y": top, "width": step * 0.64, "height": height_of(0, most) - top}
        ET.SubElement(svg, "rect", {name: short(value) for name, value in bar.items()} | {"class": "came"})
        if one.came:
            label(svg, middle, top - 5, str(one.came))
        label(svg, middle, HEIGHT - 8, f"{one.day:%a}"[:2])
        label(svg, middle, HEIGHT + 12, str(one.day.day))
        points.append((middle, height_of(one.decided, most)))
    way = " ".join(f"{short(x)},{short(y)}" for x, y in points)
    ET.SubElement(svg, "polyline", {"points": way, "fill": "none", "class": "decided"})
    for x, y in points:
        square = {"x": short(x - 3.5), "y": short(y - 3.5), "width": "7", "height": "7", "class": "decided"}
        ET.SubElement(svg, "rect", square)
    return ET.tostring(svg, encoding="unicode")


def filling(packets: int, undecided: int) -> str:
    """One bar: the packets that are in a mailing, filled; what may still join it once it is decided, hatched."""
    said = f"{packets} in it; {undecided} more may join it once decided."
    svg = canvas("filling", "How full the mailing is", said, height=34)
    hatch = ET.SubElement(
        ET.SubElement(svg, "defs"),
        "pattern",
        {
            "id": "hatched",
            "width": "6",
            "height": "6",
            "patternUnits": "userSpaceOnUse",
            "patternTransform": "rotate(45)",
        },
    )
    ET.SubElement(hatch, "rect", {"width": "2.5", "height": "6", "fill": "currentColor"})
    whole = max(packets + undecided, 1)
    full = (WIDTH - 2) * packets / whole
    frame = {"x": "1", "y": "1", "width": short(WIDTH - 2), "height": "32", "fill": "none", "stroke": "currentColor"}
    ET.SubElement(svg, "rect", frame)
    ET.SubElement(svg, "rect", {"x": "1", "y": "1", "width": short(full), "height": "32", "fill": "currentColor"})
    if undecided:
        rest = {
            "x": short(1 + full),
            "y": "1",
            "width": short(WIDTH - 2 - full),
            "height": "32",
            "fill": "url(#hatched)",
        }
        ET.SubElement(svg, "rect", rest)
    return ET.tostring(svg, encoding="unicode")
