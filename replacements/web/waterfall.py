"""How a candidate's weight adds up, as rows with words and a bar each: from the odds before to those after."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

WIDTH = 100.0  # of the drawing, in its own units
_ROUND_BELOW = 100  # odds above are said in round numbers
_MOST = 40  # bits; higher odds are no longer told apart


@dataclass(frozen=True, slots=True)
class Bar:
    """One step. `fact`: its code, "" for what is known before. `left`, `width`: the bar from the sum before it to the
    sum after it; it goes to the left where `against`."""

    fact: str
    words: str
    weight: float
    after: float
    left: float
    width: float
    against: bool


@dataclass(frozen=True, slots=True)
class Fall:
    """One candidate's. `even`: where on the drawing it is as likely as not. `odds`: the result in words."""

    title: str
    bars: tuple[Bar, ...]
    even: float
    result: float
    odds: str
    percent: str


def falls(candidates: Sequence[Mapping[str, Any]], titles: Sequence[str]) -> tuple[Fall, ...]:
    """Of the candidates that were judged with a waterfall (older requests have none), on one scale."""
    known = [(c["waterfall"], title) for c, title in zip(candidates, titles, strict=True) if c.get("waterfall")]
    sums = [0.0]
    for found, _ in known:
        sums += [found["prior"], *(step["after"] for step in found["steps"])]
    low, span = min(sums), max(max(sums) - min(sums), 1.0)
    return tuple(_fall(found, title, low, span) for found, title in known)


def _fall(found: Mapping[str, Any], title: str, low: float, span: float) -> Fall:
    def place(bits: float) -> float:
        return round(WIDTH * (bits - low) / span, 1)

    def bar(fact: str, words: str, weight: float, before: float, after: float) -> Bar:
        left, right = sorted((place(before), place(after)))
        return Bar(fact, words, weight, after, left, round(max(right - left, 0.5), 1), weight < 0)

    prior = found["prior"]
    bars = [bar("", "before anything is read: any one voter of the roll", prior, 0.0, prior)]
    before = prior
    for step in found["steps"]:
        bars.append(bar(step["fact"], step["words"] or step["level"], step["weight"], before, step["after"]))
        before = step["after"]
    return Fall(title, tuple(bars), place(0.0), found["result"], odds_in_words(found["result"]), _percent(found["p"]))


def odds_in_words(bits: float) -> str:
    """`12.3` → `about 5,000 to 1 for this voter`."""
    if abs(bits) < 0.5:
        return "as likely as not"
    times = 2.0 ** min(abs(bits), _MOST)
    if times >= _ROUND_BELOW:
        size = 10 ** (len(str(int(times))) - 1)
        times = round(times / size) * size
    shown = f"{times:,.0f}" if times >= 2 else f"{times:.1f}"
    more = "more than " if abs(bits) > _MOST else "about "
    return f"{more}{shown} to 1 {'for' if bits > 0 else 'against'} this voter"


def _percent(p: float) -> str:
    if p > 0.999:
        return "more than 99.9 %"
    return "less than 0.1 %" if p < 0.001 else f"{p * 100:.1f} %"
