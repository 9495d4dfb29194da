"""Days on which the post moves, and how fast it is, against published sources.

- 5 USC 6103(a): the eleven legal public holidays. The post's own rule for those that fall on a weekend (postal holiday
  notices): a Saturday holiday leaves the Friday a mail day, a Sunday holiday takes the Monday.
- 90 FR 10857, 28 February 2025: Sundays and holidays are not counted as transit days.
- numpy's business-day functions, as an independent count.
- USPS Post-Election Analysis, 12 January 2021 and 2 December 2024: how many ballots are back within 3, 5 and 7 days.
"""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest

from replacements.rules.calendar import is_post_day, mail_holidays
from replacements.rules.office import Rules, Transit, load_rules
from replacements.rules.transit import after_post_days

NO_MAIL = {
    2026: "01-01 01-19 02-16 05-25 06-19 07-04 09-07 10-12 11-11 11-26 12-25",
    2027: "01-01 01-18 02-15 05-31 06-19 07-05 09-06 10-11 11-11 11-25 12-25",
}


@pytest.fixture(scope="module")
def rules() -> Rules:
    return load_rules(Path(__file__).parent.parent / "rules" / "saltgrass.toml")


@pytest.mark.parametrize("year", [2026, 2027])
def test_the_holidays_of_the_post_are_the_eleven_of_the_law(year: int) -> None:
    expected = {date.fromisoformat(f"{year}-{day}") for day in NO_MAIL[year].split()}
    assert mail_holidays("US", year) == expected


def test_a_saturday_holiday_leaves_the_friday_a_mail_day_and_a_sunday_holiday_takes_the_monday(rules: Rules) -> None:
    assert is_post_day(rules, date(2026, 7, 3))
    assert not is_post_day(rules, date(2026, 7, 4))
    assert is_post_day(rules, date(2027, 12, 31))  # the library lists it as New Year's Day, observed
    assert not is_post_day(rules, date(2027, 7, 5))


@pytest.mark.parametrize(("moves", "expected"), [(1, "10-10"), (2, "10-13"), (3, "10-14"), (5, "10-16")])
def test_days_in_the_post_skip_sunday_and_the_holiday(rules: Rules, moves: int, expected: str) -> None:
    assert after_post_days(rules, date(2026, 10, 9), moves) == date.fromisoformat(f"2026-{expected}")


def test_two_years_of_post_days_agree_with_an_independent_count(rules: Rules) -> None:
    closed = [f"{year}-{day}" for year in NO_MAIL for day in NO_MAIL[year].split()]
    for offset in range(710):
        day = date(2026, 1, 2) + timedelta(days=offset)
        if is_post_day(rules, day):
            theirs = np.busday_offset(np.datetime64(day), 3, weekmask="1111110", holidays=closed)
            assert after_post_days(rules, day, 3) == theirs.astype(object)
        else:
            assert not np.is_busday(np.datetime64(day), weekmask="1111110", holidays=closed)


def test_the_default_return_leg_is_as_fast_as_the_posts_own_analyses_say() -> None:
    inbound = Transit().inbound
    for days, share in ((3, 0.977), (5, 0.997), (7, 0.9988)):
        assert sum(part for day, part in inbound.items() if day <= days) == pytest.approx(share, abs=0.001)
    assert 1.0 <= sum(day * part for day, part in inbound.items()) <= 1.6


def test_the_default_outbound_leg_has_the_published_mean_within_the_service_standard() -> None:
    outbound = Transit().outbound
    assert set(outbound) <= {1, 2, 3, 4, 5}  # 39 CFR 121.1
    assert sum(day * part for day, part in outbound.items()) == pytest.approx(2.1)
