"""How a candidate's weight is explained: words for every level, and sums that add up."""

from __future__ import annotations

import math
import random
from datetime import date

import pytest

from replacements.roll.explaining import ORDER, level_words, prior_bits, waterfall
from replacements.roll.matching import identify
from replacements.roll.memory import MemoryRoll
from replacements.roll.name_fit import FIRST_LEVELS, LAST_LEVELS, NameFit
from replacements.roll.parameters import own
from replacements.roll.standing import SUFFICIENT
from replacements.roll.types import AddressClue, Clues
from tests.roll.invented_messages import full_evidence
from tests.roll.invented_roll import county

TODAY = date(2026, 10, 20)


def test_every_level_that_the_weighing_knows_has_words_and_no_others() -> None:
    weighed = {field: set(levels) for field, levels in own().fields.items() if field not in ("first_name", "last_name")}
    weighed["name"] = {
        NameFit(last, first, turned=turned).word
        for last in LAST_LEVELS
        for first in FIRST_LEVELS
        for turned in (True, False)
    }
    assert {field: set(words) for field, words in level_words().items()} == weighed
    assert set(ORDER) == set(weighed)


def test_the_words_are_all_different_within_a_field() -> None:
    for field, words in level_words().items():
        assert len(set(words.values())) == len(words), field


@pytest.mark.parametrize(("voters", "bits"), [(1, 0.0), (2, -0.29), (100_000, -16.76), (5_000_000, -22.41)])
def test_the_odds_before_anything_is_read_come_from_the_size_of_the_roll(voters: int, bits: float) -> None:
    assert prior_bits(voters, 0.10) == pytest.approx(bits, abs=0.01)


def test_prior_and_steps_give_the_result_for_every_candidate() -> None:
    invented = county(ordinary=100)
    roll, chance = invented.roll(), random.Random(2)
    seen = 0
    for voter in invented.voters[::7]:
        for clues in full_evidence(voter, chance):
            for candidate in identify(clues, roll, sufficient=SUFFICIENT, today=TODAY).candidates:
                found = waterfall(candidate)
                assert found.prior + sum(step.weight for step in found.steps) == pytest.approx(found.result, abs=0.02)
                assert found.result - found.prior == pytest.approx(candidate.weight, abs=0.06)
                assert all(step.words and step.words != step.level for step in found.steps)
                assert [ORDER.index(step.field) for step in found.steps] == sorted(
                    ORDER.index(s.field) for s in found.steps
                )
                seen += 1
    assert seen > 300


def test_the_probability_is_what_the_odds_say_where_nobody_competes() -> None:
    invented = county(ordinary=100)
    voter = invented.kinds["ordinary"][0][0]
    clues = Clues(names=(f"{voter.first_name} {voter.last_name}",), addresses=(AddressClue(voter.street, voter.unit),))
    candidate = identify(clues, MemoryRoll(invented.voters), sufficient=SUFFICIENT, today=TODAY).candidates[0]
    found = waterfall(candidate)
    assert 1 - found.p <= 3 / (1 + math.exp2(found.result))
