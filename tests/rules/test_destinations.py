"""How far the post carries it: where a voter's packet goes, and the chance to be back from there, by hand and by
simulation."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from itertools import product

import numpy as np
import pytest

from replacements.roll.types import Voter
from replacements.rules.calendar import cut_off, is_mailing_day, next_mailing
from replacements.rules.destinations import Destination, destination_of
from replacements.rules.office import Rules, parse_rules
from replacements.rules.transit import (
    after_post_days,
    back_for_voter,
    chance,
    days_back,
    for_voter,
    in_time,
    last_day_back,
    last_good_day,
)
from tests.rules.test_office_rules import only_mistake

HOME = Voter("61000001", "Quill", "Ada", street="14 Otter Bank Rd", city="Eelpoint", state="NC", zip="27998")
AWAY = """
[transit.in_county]
outbound = { 1 = 1.0 }
[transit.in_state]
outbound = { 3 = 1.0 }
kept_by_voter = { 0 = 1.0 }
inbound = { 3 = 1.0 }
[transit.elsewhere]
outbound = { 2 = 0.25, 4 = 0.5, 7 = 0.25 }
inbound = { 3 = 0.5, 5 = 0.3, 8 = 0.2 }
kept_by_voter = { 0 = 0.2, 2 = 0.5, 6 = 0.3 }
"""


@pytest.fixture(scope="module")
def far_text(saltgrass_text: str) -> str:
    text = saltgrass_text.replace("\n[transit.overseas]", f"{AWAY}\n[transit.overseas]")
    return text.replace("threshold = 0.75", 'threshold = 0.75\ncounty_zips = ["27997", "27998"]')


@pytest.fixture(scope="module")
def far(far_text: str) -> Rules:
    return parse_rules(far_text.replace('"postmarked"', '"received"'))


@pytest.mark.parametrize(
    ("record", "where"),
    [
        ({}, Destination.IN_COUNTY),
        ({"mail_street": "PO Box 7", "mail_city": "Eelpoint", "mail_state": "NC"}, Destination.IN_COUNTY),
        ({"mail_street": "PO Box 7", "mail_city": "Saltgrass", "mail_zip": "27997-0007"}, Destination.IN_COUNTY),
        ({"mail_street": "PO Box 7", "mail_city": "Farwick", "mail_zip": "27998"}, Destination.IN_COUNTY),
        ({"mail_street": "3 Hall St", "mail_city": "Farwick", "mail_state": "nc"}, Destination.IN_STATE),
        ({"mail_street": "3 Hall St", "mail_city": "Farwick", "mail_zip": "28111"}, Destination.IN_STATE),
        ({"mail_street": "3 Hall St", "mail_city": "Eelpoint", "mail_state": "OH"}, Destination.ELSEWHERE),
        ({"mail_street": "3 Hall St", "mail_state": "OH", "mail_country": "United  States"}, Destination.ELSEWHERE),
        ({"mail_street": "Unit 2050 Box 4190", "mail_city": "APO", "mail_state": "AP"}, Destination.OVERSEAS),
        ({"mail_street": "Rua 5", "mail_city": "Porto", "mail_country": "Portugal"}, Destination.OVERSEAS),
        ({"overseas": True}, Destination.OVERSEAS),
    ],
)
def test_where_a_packet_goes_is_told_from_the_voters_post_address(
    far: Rules, record: dict[str, object], where: Destination
) -> None:
    assert destination_of(far, replace(HOME, **record)) is where  # type: ignore[arg-type]


def test_nobody_in_particular_is_a_voter_of_the_county(far: Rules) -> None:
    assert destination_of(far, None) is Destination.IN_COUNTY


def test_rules_without_destinations_hold_for_all_of_them(saltgrass: Rules) -> None:
    mailed = date(2026, 10, 30)
    usual = chance(saltgrass, mailed)
    for to in (Destination.IN_COUNTY, Destination.IN_STATE, Destination.ELSEWHERE):
        assert chance(saltgrass, mailed, to=to) == usual
    assert chance(saltgrass, mailed, to=Destination.OVERSEAS) < usual


def test_a_slip_in_a_destination_is_named(far_text: str) -> None:
    assert only_mistake(far_text.replace("[transit.elsewhere]", "[transit.elswhere]")).expected.endswith("elsewhere")
    assert only_mistake(far_text.replace('"27997"', "27997")).entry == "transit.county_zips[1]"
    assert "5 digits" in only_mistake(far_text.replace('"27997"', '"2799"')).expected


def test_three_days_out_and_three_back_worked_by_hand(far: Rules) -> None:
    """To a town in the state, to be received by Tuesday, November 3; nobody keeps it.

    Mailed Tuesday 27: there on Friday 30 (Wed, Thu, Fri), back by Sat 31, Mon 2, Tue 3: in time.
    Mailed Wednesday 28: there on Saturday 31, back by Mon 2, Tue 3, Wed 4: too late.
    """
    assert chance(far, date(2026, 10, 27), to=Destination.IN_STATE) == pytest.approx(1)
    assert chance(far, date(2026, 10, 28), to=Destination.IN_STATE) == pytest.approx(0)
    assert last_good_day(far, to=Destination.IN_STATE) == date(2026, 10, 27)


def test_what_a_destination_leaves_out_is_as_for_everybody(far: Rules) -> None:
    """In the county, out in one day; kept 0 or 1, back 1 or 2 as in [transit]. Mailed Friday 30: there on Saturday.

    Kept 0: back Monday or Tuesday. Kept 1: taken on Monday, back Tuesday or Wednesday. So 3 of 4.
    """
    assert chance(far, date(2026, 10, 30), to=Destination.IN_COUNTY) == pytest.approx(3 / 4)


def test_two_voters_asking_in_the_same_hour_get_each_their_own_chance(far: Rules) -> None:
    there = replace(HOME, mail_street="3 Hall St", mail_city="Farwick", mail_state="NC", mail_zip="28111")
    mailed = date(2026, 10, 28)
    assert for_voter(far, mailed, HOME).chance > 0.9
    assert for_voter(far, mailed, there) == in_time(far, mailed, to=Destination.IN_STATE)
    assert for_voter(far, mailed, there).chance == 0
    assert for_voter(far, mailed, there).to is Destination.IN_STATE


def test_a_civilian_with_a_post_address_abroad_has_the_far_post_and_the_near_dates(far: Rules) -> None:
    abroad = replace(HOME, mail_street="Rua 5", mail_city="Porto", mail_country="Portugal")
    found = for_voter(far, date(2026, 10, 26), abroad)
    assert found == in_time(far, date(2026, 10, 26), overseas=False, to=Destination.OVERSEAS)


def test_the_days_on_which_ballots_are_back_add_up_and_the_chance_is_those_that_count(far: Rules) -> None:
    for day, to in product((20, 26, 28, 30), Destination):
        back = days_back(far, date(2026, 10, day), to=to)
        assert sum(b.counted + b.late for b in back) == pytest.approx(1)
        assert sum(b.counted for b in back) == pytest.approx(chance(far, date(2026, 10, day), to=to))
        assert [b.day for b in back] == sorted(b.day for b in back)
        assert all(b.counted == 0 for b in back if b.day > last_day_back(far))
        assert all(b.day.weekday() != 6 for b in back)
    assert back_for_voter(far, date(2026, 10, 26), HOME) == days_back(far, date(2026, 10, 26))


@pytest.mark.parametrize("rule", ["received", "postmarked"])
@pytest.mark.parametrize("to", list(Destination))
def test_a_million_ballots_to_each_destination_agree(far_text: str, to: Destination, rule: str) -> None:
    text = far_text.replace('"postmarked"', f'"{rule}"')
    rules = parse_rules(text)
    overseas = to is Destination.OVERSEAS
    own = getattr(rules.transit, to.value)
    legs = [getattr(own, name) or getattr(rules.transit, name) for name in ("outbound", "kept_by_voter", "inbound")]
    random, ballots = np.random.default_rng(len(to.value)), 1_000_000
    out, kept, back = (random.choice(list(leg), ballots, p=list(leg.values())) for leg in legs)
    post = np.busdaycalendar(weekmask="1111110", holidays=["2026-10-12", "2026-11-11"])
    limit = "2026-11-12" if overseas else "2026-11-06"
    for day in (13, 21, 26, 30):
        mailed = np.datetime64(date(2026, 10, day))
        arrived = np.busday_offset(mailed, out, roll="forward", busdaycal=post)
        taken = np.busday_offset(arrived + kept.astype("timedelta64[D]"), 0, roll="forward", busdaycal=post)
        here = np.busday_offset(taken, back, roll="forward", busdaycal=post)
        if rule == "received":
            counted = here <= np.datetime64("2026-11-03")
        else:
            counted = (taken <= np.datetime64("2026-11-03")) & (here <= np.datetime64(limit))
        found = chance(rules, date(2026, 10, day), overseas=overseas, to=to)
        assert found == pytest.approx(counted.mean(), abs=0.003)


# The calendar that all of it walks through.


def test_a_leap_day_is_a_day_like_any_other(saltgrass: Rules) -> None:
    assert after_post_days(saltgrass, date(2028, 2, 28), 2) == date(2028, 3, 1)  # Tuesday the 29th, Wednesday
    assert after_post_days(saltgrass, date(2026, 2, 27), 2) == date(2026, 3, 2)  # no 29th: Saturday, Monday
    assert is_mailing_day(saltgrass, date(2028, 2, 29))


def test_a_primary_on_the_tuesday_after_a_leap_day_worked_by_hand(saltgrass_text: str) -> None:
    """Mailed Monday, February 28, 2028: there on the 29th or the 1st, kept 0 or 1, back by the 4th."""
    dates = (
        "packets_from = 2028-01-20\nlast_request_by_mail = 2028-02-29T17:00:00\nlast_in_person = 2028-03-06T12:00:00\n"
    )
    text = saltgrass_text[: saltgrass_text.index("[dates]")].replace("2026-11-03", "2028-03-07")
    tail = saltgrass_text[saltgrass_text.index("[mailing]") :]
    rules = parse_rules(f'{text}[dates]\n{dates}return_rule = "received"\nreturn_by = 2028-03-07T19:30:00\n{tail}')
    back = days_back(rules, date(2028, 2, 28))
    assert {b.day: b.counted for b in back} == pytest.approx(
        {
            date(2028, 3, 1): 1 / 8,  # out 1, kept 0, back 1
            date(2028, 3, 2): 3 / 8,  # one day more in one of the three
            date(2028, 3, 3): 3 / 8,
            date(2028, 3, 4): 1 / 8,
        }
    )
    assert chance(rules, date(2028, 2, 28)) == pytest.approx(1)
    assert last_good_day(rules) == date(2028, 3, 2)  # as for a Tuesday without a leap day: Thursday, 7 of 8


def test_the_clock_change_in_the_election_week_moves_no_day(saltgrass_text: str) -> None:
    """Clocks go back on Sunday, November 1, 2026. 0:30 of the fourth in universal time is the third at the office."""
    text = saltgrass_text.replace('"postmarked"', '"received"')
    zoned = parse_rules(text.replace("return_by = 2026-11-03T19:30:00", "return_by = 2026-11-04T00:30:00Z"))
    assert last_day_back(zoned) == date(2026, 11, 3)
    for day in (26, 29, 30):
        assert chance(zoned, date(2026, 10, day)) == chance(parse_rules(text), date(2026, 10, day))


def test_the_clock_change_in_spring_moves_the_cut_off_and_no_mailing(saltgrass: Rules) -> None:
    """Clocks go forward on Sunday, March 8, 2026."""
    before, after = cut_off(saltgrass, date(2026, 3, 6)), cut_off(saltgrass, date(2026, 3, 9))
    assert (after - before).days == 3
    assert before.utcoffset() != after.utcoffset()
    assert next_mailing(saltgrass, after) == date(2026, 3, 10)


@pytest.mark.parametrize(
    ("zone", "moment", "day"),
    [
        ("Pacific/Honolulu", "2026-11-04T05:00:00Z", date(2026, 11, 3)),
        ("America/Los_Angeles", "2026-11-04T04:00:00Z", date(2026, 11, 3)),
        ("Pacific/Guam", "2026-11-03T10:00:00Z", date(2026, 11, 3)),
        ("Pacific/Guam", "2026-11-02T23:00:00Z", date(2026, 11, 3)),
    ],
)
def test_the_last_day_is_the_offices_own_wherever_it_lies(
    saltgrass_text: str, zone: str, moment: str, day: date
) -> None:
    text = saltgrass_text.replace('"postmarked"', '"received"').replace("America/New_York", zone)
    text = text.replace("return_by = 2026-11-03T19:30:00", f"return_by = {moment}")
    assert last_day_back(parse_rules(text)) == day


def test_saturdays_carry_post_and_sundays_and_holidays_do_not(saltgrass: Rules) -> None:
    friday = date(2026, 10, 9)
    assert after_post_days(saltgrass, friday, 1) == date(2026, 10, 10)
    assert after_post_days(saltgrass, friday, 2) == date(2026, 10, 13)  # the Sunday, and Columbus Day
    assert after_post_days(saltgrass, date(2026, 11, 10), 1) == date(2026, 11, 12)  # Veterans Day
    assert after_post_days(saltgrass, date(2026, 12, 24), 1) == date(2026, 12, 26)
    assert after_post_days(saltgrass, date(2026, 12, 31), 1) == date(2027, 1, 2)
