"""Will it make it: examples worked by hand, and a simulation that walks every ballot through the post day by day."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from replacements.rules.office import Rules, parse_rules
from replacements.rules.transit import InTime, after_post_days, chance, in_time, last_good_day


@pytest.fixture(scope="module")
def received(saltgrass_text: str) -> Rules:
    return parse_rules(saltgrass_text.replace('"postmarked"', '"received"'))


def test_a_ballot_mailed_early_is_surely_back(saltgrass: Rules) -> None:
    assert chance(saltgrass, date(2026, 10, 13)) == pytest.approx(1.0)


def test_received_by_election_day_worked_by_hand(received: Rules) -> None:
    """Mailed Thursday October 29: out 1 or 2 (Fri, Sat), kept 0 or 1, back 1 or 2, each a half; the limit is Tuesday.

    Arrives Friday, kept 0: handed over Friday, back Saturday or Monday: in time, both.
    Arrives Friday, kept 1: handed over Saturday, back Monday or Tuesday: in time, both.
    Arrives Saturday, kept 0: handed over Saturday: in time, both.
    Arrives Saturday, kept 1: handed over on Sunday, taken Monday, back Tuesday (in time) or Wednesday (not).
    So 7 of 8.
    """
    assert chance(received, date(2026, 10, 29)) == pytest.approx(7 / 8)


def test_a_day_later_the_chance_is_less(received: Rules) -> None:
    """Mailed Friday October 30: arrives Saturday or Monday.

    Saturday, kept 0: back Monday or Tuesday. Saturday, kept 1: taken Monday, back Tuesday or not: three of four so far.
    Monday, kept 0: taken Monday, back Tuesday or not. Monday, kept 1: taken Tuesday: too late, both. So 4 of 8.
    """
    assert chance(received, date(2026, 10, 30)) == pytest.approx(4 / 8)


def test_a_postmark_in_time_counts_where_the_rule_says_so(saltgrass: Rules) -> None:
    """Mailed Saturday October 31: arrives Monday or Tuesday; handed over Monday, Tuesday, Tuesday or Wednesday.

    The last is postmarked too late; the others are here by Friday at the latest. So 3 of 4.
    """
    assert chance(saltgrass, date(2026, 10, 31)) == pytest.approx(3 / 4)


def test_a_postmark_in_time_does_not_help_a_ballot_that_comes_after_the_grace(saltgrass_text: str) -> None:
    """Of the three quarters above, handed over Monday is here by Wednesday; Tuesday's half by Wednesday, half later."""
    rules = parse_rules(saltgrass_text.replace("2026-11-06T17:00:00", "2026-11-04T17:00:00"))
    assert chance(rules, date(2026, 10, 31)) == pytest.approx(1 / 4 + 2 / 4 * 1 / 2)


def test_the_last_good_day_is_the_last_mailing_day_that_reaches_the_threshold(received: Rules) -> None:
    assert in_time(received, date(2026, 10, 27)) == InTime(date(2026, 10, 27), 1.0, date(2026, 10, 29))
    assert last_good_day(received) == date(2026, 10, 29)  # 7/8; the Friday's 1/2 is below 0.75


def test_a_threshold_that_is_met_exactly_is_met(saltgrass_text: str) -> None:
    rules = parse_rules(saltgrass_text.replace('"postmarked"', '"received"').replace("= 0.75", "= 0.875"))
    assert last_good_day(rules) == date(2026, 10, 29)


def test_where_the_post_is_slow_the_last_good_day_is_long_before(saltgrass_text: str) -> None:
    text = saltgrass_text.replace("inbound = { 1 = 0.5, 2 = 0.5 }", "inbound = { 1 = 0.5, 60 = 0.5 }")
    good = last_good_day(parse_rules(text.replace("threshold = 0.75", "threshold = 0.999")))
    assert good is not None
    assert good < date(2026, 9, 1)


def test_voters_overseas_have_their_own_spread_and_limits(saltgrass: Rules) -> None:
    """Out 5 post days from Monday October 26 is Saturday; kept 0 or 1: taken Saturday or Monday, here by the 12th."""
    assert chance(saltgrass, date(2026, 10, 26), overseas=True) == pytest.approx(1.0)
    assert chance(saltgrass, date(2026, 10, 29), overseas=True) == pytest.approx(0.0)  # there on Wednesday
    assert last_good_day(saltgrass, overseas=True) == date(2026, 10, 27)  # there Monday, handed over by Tuesday


def test_a_limit_at_midnight_means_the_day_before(saltgrass_text: str) -> None:
    text = saltgrass_text.replace('"postmarked"', '"received"').replace("2026-11-03T19:30:00", "2026-11-04T00:00:00")
    assert chance(parse_rules(text), date(2026, 10, 29)) == pytest.approx(7 / 8)


def test_the_chance_never_rises_from_one_mailing_to_the_next(saltgrass: Rules, received: Rules) -> None:
    for rules in (saltgrass, received):
        chances = [chance(rules, date(2026, 10, day)) for day in range(13, 32)]
        assert chances == sorted(chances, reverse=True)


def test_post_given_in_on_a_sunday_is_taken_on_monday(saltgrass: Rules) -> None:
    assert after_post_days(saltgrass, date(2026, 10, 18), 0) == date(2026, 10, 19)
    assert after_post_days(saltgrass, date(2026, 10, 18), 1) == date(2026, 10, 20)


@pytest.mark.parametrize("rule", ["received", "postmarked"])
@pytest.mark.parametrize("mailed", [date(2026, 10, 22), date(2026, 10, 26), date(2026, 10, 28)])
def test_a_simulation_of_a_million_ballots_agrees(saltgrass_text: str, rule: str, mailed: date) -> None:
    spread = "{ 1 = 0.2, 2 = 0.35, 3 = 0.25, 4 = 0.15, 5 = 0.05 }"
    text = saltgrass_text.replace('"postmarked"', f'"{rule}"')
    text = text.replace("outbound = { 1 = 0.5, 2 = 0.5 }", f"outbound = {spread}")
    text = text.replace("inbound = { 1 = 0.5, 2 = 0.5 }", f"inbound = {spread}")
    text = text.replace("{ 0 = 0.5, 1 = 0.5 }", "{ 0 = 0.3, 1 = 0.3, 3 = 0.4 }")
    random, ballots = np.random.default_rng(20261103), 1_000_000
    days, shares = [1, 2, 3, 4, 5], [0.2, 0.35, 0.25, 0.15, 0.05]
    post = np.busdaycalendar(weekmask="1111110", holidays=[date(2026, 10, 12), date(2026, 11, 11)])
    arrived = np.busday_offset(
        np.datetime64(mailed), random.choice(days, ballots, p=shares), roll="forward", busdaycal=post
    )
    put_in = arrived + random.choice([0, 1, 3], ballots, p=[0.3, 0.3, 0.4]).astype("timedelta64[D]")
    taken = np.busday_offset(put_in, 0, roll="forward", busdaycal=post)
    back = np.busday_offset(taken, random.choice(days, ballots, p=shares), roll="forward", busdaycal=post)
    if rule == "received":
        counted = back <= np.datetime64("2026-11-03")
    else:
        counted = (taken <= np.datetime64("2026-11-03")) & (back <= np.datetime64("2026-11-06"))
    assert chance(parse_rules(text), mailed) == pytest.approx(counted.mean(), abs=0.003)
