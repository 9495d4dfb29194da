"""The office's calendar: the cut-off, days without a mailing, and the clock change."""

from __future__ import annotations

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest

from replacements.rules.calendar import (
    cut_off,
    is_mailing_day,
    is_post_day,
    last_request,
    local,
    mailing_after,
    mailing_days_between,
    next_mailing,
    open_for_post,
    return_limit,
)
from replacements.rules.office import Rules, parse_rules

NEW_YORK = ZoneInfo("America/New_York")


def at(day: int, hour: int, minute: int = 0, *, month: int = 10) -> datetime:
    return datetime(2026, month, day, hour, minute, tzinfo=NEW_YORK)


def test_what_is_approved_before_the_cut_off_goes_the_same_day(saltgrass: Rules) -> None:
    assert next_mailing(saltgrass, at(14, 14, 29)) == date(2026, 10, 14)


def test_what_is_approved_at_the_cut_off_goes_the_next_business_day(saltgrass: Rules) -> None:
    assert next_mailing(saltgrass, at(14, 14, 30)) == date(2026, 10, 15)


def test_a_day_on_which_the_office_is_closed_is_passed_over(saltgrass: Rules) -> None:
    assert next_mailing(saltgrass, at(15, 15)) == date(2026, 10, 19)  # the Friday is in extra_closed


def test_what_is_approved_on_a_weekend_goes_on_monday(saltgrass: Rules) -> None:
    assert next_mailing(saltgrass, at(24, 9)) == date(2026, 10, 26)


def test_a_mail_holiday_has_no_mailing(saltgrass: Rules) -> None:
    assert not is_mailing_day(saltgrass, date(2026, 10, 12))  # Columbus Day
    assert next_mailing(saltgrass, at(9, 15)) == date(2026, 10, 13)
    assert next_mailing(saltgrass, at(11, 9, month=11)) == date(2026, 11, 12)  # Veterans Day


def test_the_cut_off_is_the_offices_hour_wherever_the_moment_was_written_down(saltgrass: Rules) -> None:
    assert next_mailing(saltgrass, datetime(2026, 10, 14, 18, 29, tzinfo=UTC)) == date(2026, 10, 14)
    assert next_mailing(saltgrass, datetime(2026, 10, 14, 18, 30, tzinfo=UTC)) == date(2026, 10, 15)


def test_after_the_clock_change_the_cut_off_is_an_hour_later_in_universal_time(saltgrass: Rules) -> None:
    assert cut_off(saltgrass, date(2026, 10, 30)).astimezone(UTC).hour == 18
    assert cut_off(saltgrass, date(2026, 11, 2)).astimezone(UTC).hour == 19  # clocks went back on November 1
    assert next_mailing(saltgrass, datetime(2026, 11, 2, 19, 29, tzinfo=UTC)) == date(2026, 11, 2)
    assert next_mailing(saltgrass, datetime(2026, 11, 2, 19, 30, tzinfo=UTC)) == date(2026, 11, 3)


def test_late_evening_in_the_office_is_still_that_day(saltgrass: Rules) -> None:
    assert local(saltgrass, datetime(2026, 10, 15, 2, tzinfo=UTC)).date() == date(2026, 10, 14)
    with pytest.raises(ValueError, match="zone"):
        local(saltgrass, datetime(2026, 10, 15, 2))  # noqa: DTZ001


def test_the_last_moment_to_ask_is_in_time_and_the_next_is_not(saltgrass: Rules) -> None:
    assert open_for_post(saltgrass, at(27, 17))
    assert not open_for_post(saltgrass, at(27, 17, 1))
    assert open_for_post(saltgrass, at(27, 17, 1), overseas=True)
    assert last_request(saltgrass, overseas=True) == at(2, 17, month=11)


def test_the_return_limit_is_the_end_of_grace_or_the_hour_to_be_received(saltgrass: Rules, saltgrass_text: str) -> None:
    assert return_limit(saltgrass) == at(6, 17, month=11)
    assert return_limit(saltgrass, overseas=True) == at(12, 17, month=11)
    received = parse_rules(saltgrass_text.replace('"postmarked"', '"received"'))
    assert return_limit(received) == at(3, 19, 30, month=11)


def test_the_post_moves_on_saturdays_and_rests_on_sundays_and_holidays(saltgrass: Rules) -> None:
    assert is_post_day(saltgrass, date(2026, 10, 10))
    assert not is_post_day(saltgrass, date(2026, 10, 11))
    assert not is_post_day(saltgrass, date(2026, 10, 12))


def test_a_holiday_of_the_state_closes_the_office_and_not_the_post(saltgrass_text: str) -> None:
    rules = parse_rules(saltgrass_text.replace('holidays = "US"', 'holidays = "US-NC"'))
    good_friday = date(2027, 3, 26)
    assert is_post_day(rules, good_friday)
    assert not is_mailing_day(rules, good_friday)


def test_mailing_days_are_counted_from_the_first_to_before_the_last(saltgrass: Rules) -> None:
    assert mailing_days_between(saltgrass, date(2026, 10, 13), date(2026, 10, 14)) == 1
    assert mailing_days_between(saltgrass, date(2026, 10, 13), date(2026, 10, 13)) == 0
    assert (
        mailing_days_between(saltgrass, date(2026, 10, 9), date(2026, 10, 20)) == 5
    )  # Columbus Day and the closed Friday
    assert mailing_days_between(saltgrass, date(2026, 10, 20), date(2026, 10, 9)) == -5


def test_an_office_that_mails_on_saturdays_does(saltgrass_text: str) -> None:
    rules = parse_rules(saltgrass_text.replace('"thu", "fri"]', '"thu", "fri", "sat"]'))
    assert mailing_after(rules, date(2026, 10, 9)) == date(2026, 10, 10)
    assert next_mailing(rules, at(10, 15)) == date(2026, 10, 13)
