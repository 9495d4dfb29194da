"""Thousands of cases made to mislead: nobody is ever called certain who is somebody else, and those who give what the
trade asks for are."""

from __future__ import annotations

from collections import Counter
from datetime import date

import pytest

from replacements.roll.matching import identify
from replacements.roll.memory import MemoryRoll
from replacements.roll.standing import SUFFICIENT
from replacements.roll.types import Standing, Who
from tests.roll.adversarial_cases import Case
from tests.roll.adversarial_county import adversarial_county
from tests.roll.adversarial_forms import FAMILIES, cases

TODAY = date(2026, 10, 20)
GUARDED = ("birth_date", "voter_id", "ballot_number", "email_on_file", "address+phone_on_file")
Answers = list[tuple[Case, Who]]


@pytest.fixture(scope="module")
def answers() -> Answers:
    county = adversarial_county()
    roll = MemoryRoll(county.voters)
    return [
        (case, identify(case.clues, roll, sufficient=GUARDED if case.guarded else SUFFICIENT, today=TODAY))
        for case in cases(county)
    ]


def test_there_are_thousands_of_every_kind(answers: Answers) -> None:
    assert len(answers) >= 3000
    assert len({case.family for case, _ in answers}) >= len(FAMILIES)
    assert min(Counter(case.family for case, _ in answers).values()) >= 100
    assert sum(case.voter_id is None for case, _ in answers) >= 1000  # nobody who may be called certain


def test_nobody_is_called_certain_who_is_somebody_else(answers: Answers) -> None:
    wrong = [
        (case.family, case.what, case.clues, found.because)
        for case, found in answers
        if found.standing is Standing.CERTAIN and (found.voter is None or found.voter.voter_id != case.voter_id)
    ]
    assert not wrong, (len(wrong), wrong[:5])


def test_certain_is_said_where_the_trade_calls_for_it(answers: Answers) -> None:
    called = Counter(case.family for case, _ in answers if case.calls)
    said = Counter(case.family for case, found in answers if case.calls and found.standing is Standing.CERTAIN)
    assert called.total() >= 1000
    assert said.total() >= 0.97 * called.total(), {family: (said[family], called[family]) for family in called}
    for family in called:
        assert said[family] >= 0.94 * called[family], (family, said[family], called[family])


def test_one_best_voter_is_hardly_ever_the_wrong_one(answers: Answers) -> None:
    """A wrong `likely` costs a clerk a look at the evidence; it must stay rare where the right voter is on the roll."""
    known = [(case, found) for case, found in answers if case.voter_id is not None and found.voter is not None]
    wrong = [(case.family, case.what) for case, found in known if found.voter and found.voter.voter_id != case.voter_id]
    assert len(wrong) <= 0.005 * len(known), Counter(wrong).most_common(8)
