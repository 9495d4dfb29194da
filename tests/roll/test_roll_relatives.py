"""Relatives of a voter, on the roll and not: what they share with the voter makes nobody certain."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from replacements.roll.matching import identify
from replacements.roll.memory import MemoryRoll
from replacements.roll.standing import SUFFICIENT
from replacements.roll.types import AddressClue, Clues, Standing, Voter, Who

TODAY = date(2026, 10, 15)
ELM = AddressClue("3 Elm St", city="Ostrey")
GUARDED = ("birth_date", "voter_id", "ballot_number", "email_on_file", "address+phone_on_file")


def voter(
    voter_id: str, last: str, first: str, born: str = "1961-04-09", street: str = "3 Elm St", **more: str
) -> Voter:
    fields: dict[str, Any] = {"city": "Ostrey", "zip": "97999", **more}
    return Voter(voter_id=voter_id, last_name=last, first_name=first, birth_date=born, street=street, **fields)


def who(roll: list[Voter], *names: str, rules: tuple[str, ...] = SUFFICIENT, **more: Any) -> Who:
    more.setdefault("addresses", (ELM,))
    return identify(Clues(names=names, **more), MemoryRoll(roll), sufficient=rules, today=TODAY)


def test_name_and_address_alone_are_what_the_offices_rules_make_of_them() -> None:
    roll = [voter("1", "Quested", "Owen", phone="(541) 555-0101")]
    open_handed = who(roll, "Owen Quested")
    assert open_handed.standing is Standing.CERTAIN
    assert open_handed.because.endswith("Both are on public lists.")
    assert who(roll, "Owen Quested", rules=GUARDED).standing is Standing.LIKELY
    assert who(roll, "Owen Quested", rules=GUARDED, phones=("541-555-0101",)).standing is Standing.CERTAIN
    assert who(roll, "Owen Quested", rules=GUARDED, phones=("541-555-0101",), addresses=()).standing is Standing.LIKELY
    assert who(roll, "Owen Quested", rules=GUARDED, birth_dates=((1961, 4, 9),)).standing is Standing.CERTAIN


@pytest.mark.parametrize("item", ["shoe_size", "address+shoe_size", ""])
def test_a_fact_that_no_rule_knows_is_refused(item: str) -> None:
    with pytest.raises(ValueError, match="not an item of identity"):
        who([voter("1", "Quested", "Owen")], "Owen Quested", rules=(item,))


@pytest.mark.parametrize("suffix", ["Jr", "Sr", "III"])
def test_a_voter_with_a_suffix_has_a_namesake_in_the_family_who_need_not_be_on_the_roll(suffix: str) -> None:
    roll = [voter("1", "Quested", "Owen", suffix=suffix, email="oq@post.example")]
    assert who(roll, "Owen Quested").standing is Standing.LIKELY
    for more in (
        {"suffix": suffix},
        {"birth_dates": ((1961, 4, 9),)},
        {"birth_dates": ((1961, None, None),)},
        {"age": 65},
        {"emails": ("oq@post.example",)},
    ):
        assert who(roll, "Owen Quested", **more).standing is Standing.CERTAIN, more


@pytest.mark.parametrize(
    ("on_the_roll", "writes"),
    [("Min-soo", "Min-seo"), ("Jayden", "Kayden"), ("Hayden", "Jayden"), ("Thanh", "Thinh"), ("Maria", "Marie")],
)
def test_a_brother_or_sister_whose_name_is_one_letter_away_is_not_the_voter(on_the_roll: str, writes: str) -> None:
    namesake = voter("9", "Marsh", writes, street="80 Far Ln", born="1944-02-02")
    twins = [voter("1", "Quested", on_the_roll), namesake]
    found = who(twins, f"{writes} Quested", birth_dates=((1961, 4, 9),))
    assert found.standing is not Standing.CERTAIN, found.because


def test_a_slip_in_the_given_name_is_still_the_voter() -> None:
    roll = [voter("1", "Quested", "Bridget"), voter("2", "Marsh", "Min-soo", street="9 Oak St")]
    for slip in ("Brigdet", "Bridgfet", "Bridgett", "Bidget"):
        assert who(roll, f"{slip} Quested").standing is Standing.CERTAIN, slip
    for spelling in ("Min-su", "Minsu", "Min Su", "민수"):
        name = "마 민수" if spelling == "민수" else f"{spelling} Marsh"
        assert who(roll, name, addresses=(AddressClue("9 Oak St"),)).voter in (roll[1], None)
    assert who(roll, "Minsu Marsh", addresses=(AddressClue("9 Oak St"),)).standing is Standing.CERTAIN


def test_a_slip_in_the_first_letter_needs_a_fact_that_is_the_voters_own() -> None:
    roll = [voter("1", "Quested", "Bridget")]
    assert who(roll, "Vridget Quested", birth_dates=((1961, 4, 9),)).standing is Standing.LIKELY
    assert who(roll, "Vridget Quested", voter_ids=("1",)).standing is Standing.CERTAIN


def couple() -> list[Voter]:
    return [
        voter("1", "Reeve", "Paul", email="paul@post.example"),
        voter("2", "Reeve", "Nora", born="1963-01-31"),
        voter("3", "Reeve", "Nora", born="1980-02-28", street="90 Oak St"),
    ]


def test_a_given_name_from_the_account_of_the_household_is_likely_the_one_who_lives_there() -> None:
    found = who(couple(), "Nora", emails=("paul@post.example",), addresses=())
    assert (found.standing, found.voter and found.voter.voter_id) == (Standing.LIKELY, "2")
    assert found.candidates[0].evidence["email"] == "household"


def test_a_full_name_from_the_account_of_the_household_is_never_certain_by_that_account() -> None:
    found = who(couple(), "Nora Reeve", emails=("paul@post.example",), addresses=())
    assert found.standing is not Standing.CERTAIN
    assert found.candidates[0].voter.voter_id == "2"


def test_a_given_name_that_two_of_the_household_have_is_unclear() -> None:
    roll = [*couple(), voter("4", "Reeve", "Nora", born="2001-01-30")]
    assert who(roll, "Nora", emails=("paul@post.example",), addresses=()).standing is Standing.UNCLEAR
