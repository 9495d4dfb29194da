"""Numbers of replacements: never used before, with a check digit."""

from __future__ import annotations

import pytest

from replacements.ballots.numbers import has_check_digit, next_number
from replacements.store.database import Database
from replacements.store.tables import Ballot

ELECTION = "2031-11-04-general"


def put(database: Database, *numbers: str) -> None:
    with database.write() as session:
        for number in numbers:
            session.add(Ballot(number=number, election_id=ELECTION, voter_id=number, style="A", state="voided"))


def test_a_number_is_prefix_running_part_and_check_digit(office: Database) -> None:
    with office.write() as session:
        number = next_number(session, "7")
    assert (number[:7], len(number), has_check_digit(number)) == ("7000001", 8, True)


def test_a_number_follows_the_highest_of_its_form_whoever_issued_it(office: Database) -> None:
    put(office, "70001239", "7999", "79999999999", "700X9999", "7ABCDEF1")
    with office.write() as session:
        assert next_number(session, "7").startswith("7000124")


def test_when_the_running_part_is_used_up_it_becomes_longer(office: Database) -> None:
    put(office, "79999991")
    with office.write() as session:
        assert next_number(session, "7").startswith("70000001")
        assert len(next_number(session, "7")) == 9


def test_a_prefix_may_have_letters(office: Database) -> None:
    with office.write() as session:
        number = next_number(session, "R2")
        assert number.startswith("R2000001")
        assert has_check_digit(number)


@pytest.mark.parametrize("prefix", ["", "7%", "7 ", "é", "r", "R-2"])
def test_a_prefix_with_anything_else_is_a_mistake(office: Database, prefix: str) -> None:
    with office.write() as session, pytest.raises(ValueError, match="prefix"):
        next_number(session, prefix)
