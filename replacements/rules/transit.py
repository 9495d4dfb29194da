"""Will it make it? The chance that a ballot mailed on a day is back in time, from the office's own spread of days.

Three legs follow each other. Outbound: so many days on which the post moves. Kept by the voter: calendar days; a ballot
handed over on a day when the post rests is taken on the next one that it moves. Inbound: days on which the post moves.
Past the legal date the answer is law and not asked here.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from functools import lru_cache

from replacements.rules.calendar import DAY, is_mailing_day, post_country, post_moves, return_limit
from replacements.rules.destinations import Addressed, Destination, destination_of
from replacements.rules.office import Rules

FIRST_POST = time(8)  # a limit before the day's first post, such as midnight, means the day before (common practice)
LONGEST_LOOK_BACK = 150  # days before the limit within which the last good day is looked for

Spread = Mapping[int, float]


@dataclass(frozen=True, slots=True)
class InTime:
    """The answer. `chance`: 0 to 1. `last_good_day`: the last mailing day whose chance reaches the office's threshold,
    None where no day does; it may lie before `mailed`. `to`: where the packet goes."""

    mailed: date
    chance: float
    last_good_day: date | None
    to: Destination = Destination.IN_COUNTY


@dataclass(frozen=True, slots=True)
class Back:
    """The share of ballots, 0 to 1, that come back on a day: those that count, and those that are too late, by that
    day itself or by their postmark."""

    day: date
    counted: float
    late: float


def in_time(rules: Rules, mailed: date, *, overseas: bool = False, to: Destination | None = None) -> InTime:
    """The chance for a ballot that goes out in the mailing of `mailed`. `overseas`: the voter has the dates of
    `[dates.overseas]`. `to`: where the packet goes; left out, overseas for such a voter and the county for others."""
    return InTime(
        mailed,
        chance(rules, mailed, overseas=overseas, to=to),
        last_good_day(rules, overseas=overseas, to=to),
        _to(to, overseas=overseas),
    )


def for_voter(rules: Rules, mailed: date, voter: Addressed | None) -> InTime:
    """The chance for a packet to this voter: by their own dates, to where their post goes."""
    return in_time(rules, mailed, overseas=bool(voter and voter.overseas), to=destination_of(rules, voter))


def back_for_voter(rules: Rules, mailed: date, voter: Addressed | None) -> tuple[Back, ...]:
    """`days_back` for a packet to this voter."""
    return days_back(rules, mailed, overseas=bool(voter and voter.overseas), to=destination_of(rules, voter))


def chance(rules: Rules, mailed: date, *, overseas: bool = False, to: Destination | None = None) -> float:
    """The chance, 0 to 1, that a ballot mailed on this day is back in time."""
    return _chance(rules, legs_of(rules, _to(to, overseas=overseas)), mailed, overseas=overseas)


def days_back(rules: Rules, mailed: date, *, overseas: bool = False, to: Destination | None = None) -> tuple[Back, ...]:
    """On which days ballots mailed on this day come back, earliest first; the shares add up to 1."""
    counted: dict[date, float] = defaultdict(float)
    late: dict[date, float] = defaultdict(float)
    for day, share, counts in _ways(rules, legs_of(rules, _to(to, overseas=overseas)), mailed, overseas=overseas):
        (counted if counts else late)[day] += share
    return tuple(Back(day, counted[day], late[day]) for day in sorted({*counted, *late}))


def last_good_day(rules: Rules, *, overseas: bool = False, to: Destination | None = None) -> date | None:
    """The last mailing day on which the chance is at least `transit.threshold`."""
    legs = legs_of(rules, _to(to, overseas=overseas))
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


def last_day_back(rules: Rules, *, overseas: bool = False) -> date:
    """The last day whose post can still bring a ballot that counts."""
    return _last_day(return_limit(rules, overseas=overseas))


def _last_day(limit: datetime) -> date:
    """The last day whose post still counts, for a limit in the office's time."""
    return limit.date() if limit.time() >= FIRST_POST else limit.date() - DAY


def _to(to: Destination | None, *, overseas: bool) -> Destination:
    return to or (Destination.OVERSEAS if overseas else Destination.IN_COUNTY)


def legs_of(rules: Rules, to: Destination) -> tuple[Spread, Spread, Spread]:
    """Outbound, kept, inbound; for a destination its own where the office gives them, else those of `[transit]`."""
    usual, own = rules.transit, getattr(rules.transit, to.value)
    return (
        own.outbound or usual.outbound,
        own.kept_by_voter or usual.kept_by_voter,
        own.inbound or usual.inbound,
    )


def _chance(rules: Rules, legs: tuple[Spread, Spread, Spread], mailed: date, *, overseas: bool) -> float:
    return min(1.0, sum(share for _, share, counts in _ways(rules, legs, mailed, overseas=overseas) if counts))


def _ways(
    rules: Rules, legs: tuple[Spread, Spread, Spread], mailed: date, *, overseas: bool
) -> Iterator[tuple[date, float, bool]]:
    """Every way that a ballot can take: the day it is back, the share of ballots, and whether they count."""
    outbound, kept, inbound = legs
    dates = rules.dates_for(overseas=overseas)
    handed_over: dict[date, float] = defaultdict(float)
    for moves, share in outbound.items():
        arrived = after_post_days(rules, mailed, moves)
        for days, part in kept.items():
            # the day that the post takes it, which is the day of its postmark
            handed_over[after_post_days(rules, arrived + timedelta(days=days), 0)] += share * part
    here_by, marked_by = last_day_back(rules, overseas=overseas), _last_day(dates.return_by)
    for day, share in handed_over.items():
        too_late = dates.return_rule == "postmarked" and day > marked_by
        for moves, part in inbound.items():
            back = after_post_days(rules, day, moves)
            yield back, share * part, not too_late and back <= here_by
