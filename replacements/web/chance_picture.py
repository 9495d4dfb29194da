"""When a ballot should be back, as bars over days, with the last day that counts marked. Inline SVG.

Nothing depends on colour: what is too late is hollow, numbers stand on the bars, and the description says all of it in
words. Colours are the page's (`currentColor`).
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

import svg

from replacements.rules.transit import Back
from replacements.summary.drawing import INK, WIDTH, Anchor, bar, label, line, picture

HEIGHT = 210
LEFT, RIGHT, TOP, BOTTOM = 12, 12, 40, 44
MOST_BARS = 21
SEEN = 0.005  # a smaller share is no bar; at the ends it is left out
DAY = timedelta(days=1)


def back_on_days(back: Sequence[Back], limit: date) -> str:
    """Bars: of a hundred ballots, how many are back on each day. `limit`: the last day on which one still counts.

    Days on which the post brings nothing keep their place. What comes after the last bar is told in words.
    """
    shown = _shown(back, limit)
    words = [
        f"{day:%A, %B} {day.day}: {_of_hundred(b)}{' (too late)' if b.late > b.counted else ''}."
        for day, b in shown
        if b.counted + b.late >= SEEN
    ]
    beyond = sum(b.counted + b.late for b in back if shown and b.day > shown[-1][0])
    counted = sum(b.counted for b in back)
    told = [f"Of 100 ballots, {counted * 100:.0f} should be back in time.", *words]
    if beyond >= SEEN:
        told.append(f"Later than that: {beyond * 100:.0f}.")
    told.append(f"The last day that counts is {limit:%A, %B} {limit.day}.")
    step = (WIDTH - LEFT - RIGHT) / max(1, len(shown))
    most = max([b.counted + b.late for _, b in shown] + [0.01])
    floor = HEIGHT - BOTTOM
    parts: list[svg.Element] = [line(LEFT, floor, WIDTH - RIGHT, floor)]
    every = 1 if len(shown) <= 10 else 2 if len(shown) <= 16 else 3
    for place, (day, b) in enumerate(shown):
        left, foot = LEFT + place * step, float(floor)
        for share, fill in ((b.counted, INK), (b.late, "none")):
            height = (HEIGHT - TOP - BOTTOM) * share / most
            if share >= SEEN:
                parts.append(bar(left + step * 0.18, foot - height, step * 0.64, height, fill=fill, stroke=INK))
                foot -= height
        if b.counted + b.late >= SEEN:
            parts.append(label(left + step / 2, foot - 5, _of_hundred(b)))
        if place % every == 0:
            parts.append(label(left + step / 2, floor + 16, f"{day:%a}"))
            parts.append(label(left + step / 2, floor + 32, f"{day:%b} {day.day}"))
    parts += _deadline([day for day, _ in shown], limit, step, floor)
    return picture("back", "When the ballot should be back", " ".join(told), parts, HEIGHT)


def _shown(back: Sequence[Back], limit: date) -> list[tuple[date, Back]]:
    """The days with bars, one after the other without a gap, the limit among them where it is near."""
    seen = [b for b in back if b.counted + b.late >= SEEN]
    if not seen:
        return []
    by_day = {b.day: b for b in back}
    first, last = seen[0].day, seen[-1].day
    if limit > last and (limit - first).days < MOST_BARS:
        last = limit
    last = min(last, first + DAY * (MOST_BARS - 1))
    days = [first + DAY * number for number in range((last - first).days + 1)]
    return [(day, by_day.get(day, Back(day, 0.0, 0.0))) for day in days]


def _deadline(days: list[date], limit: date, step: float, floor: float) -> list[svg.Element]:
    """A dashed line behind the last day that counts; an arrow of words where it lies outside the picture."""
    if not days:
        return []
    words = f"counts until {limit:%b} {limit.day}"
    if limit > days[-1]:
        return [label(WIDTH - RIGHT, 14, f"{words} →", anchor="end")]
    if limit < days[0]:
        return [label(LEFT, 14, f"← {words}", anchor="start")]
    x = LEFT + ((limit - days[0]).days + 1) * step
    anchor: Anchor = "start" if x < WIDTH / 4 else "end" if x > WIDTH * 3 / 4 else "middle"
    return [line(x, 18, x, floor, 6, 3), label(x, 14, words, anchor=anchor)]


def _of_hundred(back: Back) -> str:
    share = (back.counted + back.late) * 100
    return "0" if share < SEEN * 100 else f"{share:.0f}" if share >= 1 else "<1"
