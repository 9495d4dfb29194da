"""Will it make it? The chance that a ballot mailed on a day is back in time, from the office's own spread of days.

Three legs follow each other. Outbound: so many days on which the post moves. Kept by the voter: calendar days; a ballot
handed over on a day when the post rests is taken on the next one that it moves. Inbound: days on which the post moves.
Past the legal date the answer is law and not asked here.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from functools import lru_cache

from replacements.rules.calendar import DAY, is_mailing_day, post_country, post_moves, return_limit
from replacements.rules.office import Rules

FIRST_POST = time(8)  # a limit before the day's first post, such as midnight, means the day before (common practice)
LONGEST_LOOK_BACK = 150  # days before the limit within which the last good day is looked for

Spread = Mapping[int, float]


@dataclass(frozen=True, slots=True)
class InTime:
    """The answer. `chance`: 0 to 1. `last_good_day`: the last mailing day whose chance reaches the office's threshold,
    None where no day does; it may lie before `mailed`."""

    mailed: date
    chance: float
    last_good_day: date | None


def in_time(rules: Rules, mailed: date, *, overseas: bool = False) -> InTime:
    """The chance for a ballot that goes out in the mailing of `mailed`."""
    legs = _legs(rules, overseas=overseas)
    return InTime(mailed, _chance(rules, legs, mailed, overseas=overseas), last_good_day(rules, overseas=overseas))


def chance(rules: Rules, mailed: date, *, overseas: bool = False) -> float:
    """The chance, 0 to 1, that a ballot mailed on this day is back in time."""
    return _chance(rules, _legs(rules, overseas=overseas), mailed, overseas=overseas)


def last_good_day(rules: Rules, *, overseas: bool = False) -> date | None:
    """The last mailing day on which the chance is at least `transit.threshold`."""
    legs = _legs(rules, overseas=overseas)
    day = return_limit(rules, overseas=overseas).date()
    for _ in range(LONGEST_LOOK_BACK):
        if is_mailing_day(rules, day):
            found = _chance(rules, legs, day, overseas=overseas)
            if found >= rules.transit.threshold - 1e-9:
                return day
        day -= DAY
    return None


def after_post_days(rules: Rules, day: date, moves: int) -> date:
    """The day that post given in on `day` arrives after so many days on which the post moves.

    Given in on a day when the post rests, it counts as given in on the next one that it moves.
    """
    return _after(post_country(rules), day, moves)


@lru_cache(maxsize=20_000)
def _after(country: str, day: date, moves: int) -> date:
    while not post_moves(country, day):
        day += DAY
    for _ in range(moves):
        day += DAY
        while not post_moves(country, day):
            day += DAY
    return day


def _last_day(limit: datetime) -> date:
    """The last day whose post still counts, for a limit in the office's time."""
    return limit.date() if limit.time() >= FIRST_POST else limit.date() - DAY


def _legs(rules: Rules, *, overseas: bool) -> tuple[Spread, Spread, Spread]:
    """Outbound, kept, inbound; for voters overseas their own where the office gives them."""
    usual, own = rules.transit, rules.transit.overseas
    if not overseas:
        return usual.outbound, usual.kept_by_voter, usual.inbound
    return (
        own.outbound or usual.outbound,
        own.kept_by_voter or usual.kept_by_voter,
        own.inbound or usual.inbound,
    )


def _chance(rules: Rules, legs: tuple[Spread, Spread, Spread], mailed: date, *, overseas: bool) -> float:
    outbound, kept, inbound = legs
    dates = rules.dates_for(overseas=overseas)
    handed_over: dict[date, float] = defaultdict(float)
    for moves, share in outbound.items():
        arrived = after_post_days(rules, mailed, moves)
        for days, part in kept.items():
            # the day that the post takes it, which is the day of its postmark
            handed_over[after_post_days(rules, arrived + timedelta(days=days), 0)] += share * part
    here_by, marked_by = _last_day(return_limit(rules, overseas=overseas)), _last_day(dates.return_by)
    total = 0.0
    for day, share in handed_over.items():
        if dates.return_rule == "postmarked" and day > marked_by:
            continue
        for moves, part in inbound.items():
            if after_post_days(rules, day, moves) <= here_by:
                total += share * part
    return min(1.0, total)
