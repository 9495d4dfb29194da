"""The office's calendar: mailing days, days on which the post moves, the last moments. In the office's own time.

The post rests on Sundays and on the country's holidays. In the United States these are the eleven of 5 USC 6103(a): one
that falls on a Saturday does not take the Friday (that is for pay only), one that falls on a Sunday takes the Monday.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

import holidays

from replacements.rules.office import Rules

DAY = timedelta(days=1)
WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
SUNDAY = 6
LONGEST_SEARCH = 400  # days; an office without a mailing day in a year has a mistake in its rules


def local(rules: Rules, at: datetime) -> datetime:
    """A moment in the office's time. `at` is aware."""
    if at.tzinfo is None:
        raise ValueError("a time without a zone has no local time")
    return at.astimezone(ZoneInfo(rules.office.time_zone))


@lru_cache(maxsize=256)
def mail_holidays(country: str, year: int) -> frozenset[date]:
    """The days of a year on which the post rests, Sundays aside. `country` is a code such as `US`, or empty."""
    if not country:
        return frozenset()
    if country != "US":
        return frozenset(day for day in holidays.country_holidays(country, years=year) if day.year == year)
    legal = holidays.country_holidays(country, years=year, observed=False)
    return frozenset(day + DAY if day.weekday() == SUNDAY else day for day in legal)


@lru_cache(maxsize=256)
def _closed(place: str, year: int) -> frozenset[date]:
    """The days on which an office in this place is closed beyond the post's: the holidays of its subdivision."""
    country, _, subdivision = place.partition("-")
    if not subdivision:
        return frozenset()
    return frozenset(holidays.country_holidays(country, subdiv=subdivision, years=year))


def is_post_day(rules: Rules, day: date) -> bool:
    """Does the post collect, carry and deliver on this day?"""
    return post_moves(post_country(rules), day)


def post_country(rules: Rules) -> str:
    """The country whose post carries the office's mail, as in `US`; empty where the rules name none."""
    return rules.mailing.holidays.partition("-")[0]


def post_moves(country: str, day: date) -> bool:
    """Does this country's post move on this day?"""
    return day.weekday() != SUNDAY and day not in mail_holidays(country, day.year)


def is_mailing_day(rules: Rules, day: date) -> bool:
    """Does the office make a mailing on this day?"""
    return (
        WEEKDAYS[day.weekday()] in rules.mailing.days
        and is_post_day(rules, day)
        and day not in _closed(rules.mailing.holidays, day.year)
        and day not in rules.mailing.extra_closed
    )


def mailing_after(rules: Rules, day: date) -> date:
    """The first mailing day after a day."""
    for _ in range(LONGEST_SEARCH):
        day += DAY
        if is_mailing_day(rules, day):
            return day
    raise ValueError("the rules leave no mailing day in a whole year: see mailing.days and mailing.extra_closed")


def next_mailing(rules: Rules, at: datetime) -> date:
    """The mailing that what is approved at this moment goes into: today's before the cut-off, else the next."""
    here = local(rules, at)
    if is_mailing_day(rules, here.date()) and here.time() < rules.mailing.cut_off:
        return here.date()
    return mailing_after(rules, here.date())


def cut_off(rules: Rules, day: date) -> datetime:
    """The moment at which a day's mailing closes."""
    return datetime.combine(day, rules.mailing.cut_off, tzinfo=ZoneInfo(rules.office.time_zone))


def last_request(rules: Rules, *, overseas: bool = False) -> datetime:
    """The last moment to ask for a ballot, or another, by mail."""
    return rules.dates_for(overseas=overseas).last_request_by_mail


def open_for_post(rules: Rules, at: datetime, *, overseas: bool = False) -> bool:
    """May a ballot still be asked for by mail at this moment? The last moment itself is in time."""
    return at <= last_request(rules, overseas=overseas)


def return_limit(rules: Rules, *, overseas: bool = False) -> datetime:
    """The last moment at which a ballot that comes in by post can still count."""
    dates = rules.dates_for(overseas=overseas)
    return dates.grace_until if dates.return_rule == "postmarked" else dates.return_by


def mailing_days_between(rules: Rules, start: date, end: date) -> int:
    """Mailing days from `start` (counted) to `end` (not counted); negative where `end` is before `start`."""
    if end < start:
        return -mailing_days_between(rules, end, start)
    return sum(is_mailing_day(rules, start + DAY * offset) for offset in range((end - start).days))
