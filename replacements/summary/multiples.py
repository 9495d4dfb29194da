"""Small pictures side by side: each style or precinct between its limits, each kind of request in several weeks."""

from __future__ import annotations

from collections.abc import Sequence

import svg

from replacements.summary.drawing import INK, WIDTH, bar, dot, label, line, picture
from replacements.summary.figures import Bin, Compared, Rate, Week
from replacements.words import with_capital, word

ROW, HEAD, FOOT = 22, 8, 26
NAMES = 150  # room for names, at the left
NUMBERS = 84  # and for numbers, at the right: 1000.00 few
PANELS = 4  # in a row
MOST_ROWS = 40


def rates(name: str, title: str, shown: Sequence[Rate]) -> str:
    """A row for each: its rate as a dot between the limits for so many ballots. Outside: a ring, and "!"."""
    known = [rate for rate in shown if rate.point is not None][:MOST_ROWS]
    words = [
        f"{rate.name} {rate.point.value:.2f} ({rate.point.lower:.2f} to {rate.point.upper:.2f}"
        + (", outside)" if rate.outside else ")")
        for rate in known
        if rate.point is not None
    ]
    said = f"Per thousand ballots out, with limits: {'; '.join(words)}." if known else "No ballot was out."
    height = HEAD + ROW * max(len(known), 1) + FOOT
    most = max((max(r.point.upper, r.point.value) for r in known if r.point is not None), default=1.0) or 1.0
    room, base = WIDTH - NAMES - NUMBERS, height - FOOT + 2
    parts: list[svg.Element] = []
    for place, rate in enumerate(known):
        if rate.point is None:
            continue
        middle = HEAD + ROW * (place + 0.5)
        low, high = (NAMES + room * limit / most for limit in (rate.point.lower, rate.point.upper))
        mark = " !" if rate.outside else " few" if rate.few else ""
        parts += [
            label(NAMES - 10, middle + 4, _cut(rate.name), anchor="end"),
            line(low, middle, high, middle, 2, 3),
            line(low, middle - 5, low, middle + 5),
            line(high, middle - 5, high, middle + 5),
            dot(NAMES + room * rate.point.value / most, middle, ring=rate.outside),
            label(WIDTH - NUMBERS + 10, middle + 4, f"{rate.point.value:.2f}{mark}", anchor="start"),
        ]
    parts.append(line(NAMES, base, WIDTH - NUMBERS, base))
    for share in (0.0, 0.5, 1.0):
        parts.append(label(NAMES + room * share, height - 8, f"{most * share:.1f}", size=11))
    return picture(name, title, said, parts, height)


def kinds(week: Week) -> str:
    """A panel for each kind: this week, the days before, and the same week of an earlier election where it is known."""
    others = week.others
    names = sorted({*week.by_kind, *(kind for one in others for kind in one.by_kind)})
    letters = "ABC"
    said = [f"{word(kind, 'kind')}: {_said(week, others, kind)}" for kind in names]
    rows = max((len(names) + PANELS - 1) // PANELS, 1)
    tall = 108
    wide = WIDTH / PANELS
    parts: list[svg.Element] = []
    for place, kind in enumerate(names):
        left, top = wide * (place % PANELS), tall * (place // PANELS)
        counts = [week.by_kind.get(kind, 0), *(one.by_kind.get(kind, 0) for one in others)]
        most, step = max([*counts, 1]), (wide - 24) / 3
        base = top + tall - 24
        parts += [
            label(left + 6, top + 14, with_capital(word(kind, "kind")), size=11, anchor="start"),
            line(left + 6, base, left + wide - 14, base),
        ]
        for n, count in enumerate(counts):
            high, x = 48 * count / most, left + 10 + step * n
            parts += [
                bar(x, base - high, step * 0.7, high, fill=INK if n == 0 else "none", stroke=INK),
                label(x + step * 0.35, base - high - 4, str(count), size=11),
                label(x + step * 0.35, base + 14, letters[n], size=11),
            ]
    told = "; ".join(said) or "No requests."
    return picture("kinds", "Requests by kind, beside other weeks", told, parts, rows * tall + 6)


def probabilities(bins: Sequence[Bin]) -> str:
    """What was claimed against what came true, with intervals: on the slanted line probabilities keep their word."""
    words = [f"claimed {one.claimed:.2f}, true {one.right} of {one.claims}" for one in bins]
    height, left, bottom = 240, 50, 210
    side = bottom - 14
    parts: list[svg.Element] = [
        line(left, bottom, left + side, bottom),
        line(left, bottom, left, bottom - side),
        line(left, bottom, left + side, bottom - side, 2, 4),
    ]
    for share in (0.0, 0.5, 1.0):
        parts.append(label(left + side * share, bottom + 18, f"{share:.1f}", size=11))
        parts.append(label(left - 8, bottom - side * share + 4, f"{share:.1f}", size=11, anchor="end"))
    parts.append(label(left + side + 14, bottom + 18, "claimed", size=11, anchor="start"))
    for one in bins:
        x = left + side * one.claimed
        parts.append(line(x, bottom - side * one.low, x, bottom - side * one.high))
        parts.append(dot(x, bottom - side * one.right / one.claims, ring=False))
    return picture(
        f"probabilities-{bins[0].what if bins else 'none'}",
        "Probabilities beside what people decided",
        f"{'; '.join(words)}." if words else "Nothing was claimed that people have decided.",
        parts,
        height,
    )


def _said(week: Week, others: Sequence[Compared], kind: str) -> str:
    parts = [f"{week.by_kind.get(kind, 0)} in these days"]
    parts += [f"{one.by_kind.get(kind, 0)} in {one.what}" for one in others]
    return ", ".join(parts)


def _cut(name: str) -> str:
    return name if len(name) <= 18 else f"{name[:17]}…"
