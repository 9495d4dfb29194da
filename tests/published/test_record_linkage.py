"""Weights against I. P. Fellegi and A. B. Sunter, "A Theory for Record Linkage", JASA 64 (1969), worked by hand, and
facts about the PyPI package `nicknames` 1.0.1."""

from __future__ import annotations

import math

import pytest

from replacements.roll.nicknames_known import full_names, meanings, relation
from replacements.roll.weighing import bits, parameters, posterior


def test_agreement_and_disagreement_weights() -> None:
    assert bits(0.95, 0.01) == pytest.approx(6.5699, abs=1e-4)
    assert bits(1 - 0.95, 1 - 0.01) == pytest.approx(-4.3074, abs=1e-4)


def test_two_agreements_against_a_prior_of_one_in_a_thousand() -> None:
    weight = bits(0.9, 0.01) + bits(0.97, 0.0001)
    # odds of 1 to 999 before, 873.87 after
    assert 2**weight / 999 == pytest.approx(873.87, abs=0.01)
    assert posterior(weight, 1 / 1000) == pytest.approx(0.998857, abs=1e-6)


def test_no_evidence_leaves_the_prior_as_it_is() -> None:
    assert posterior(0.0, 0.25) == pytest.approx(0.25)


def test_the_parameters_are_probabilities_and_order_the_levels_as_sense_has_it() -> None:
    fields = parameters().fields
    for levels in fields.values():
        for p in levels.values():
            assert 0 < p.m < 1
            assert sum(x is not None for x in (p.u, p.u_times, p.u_voters)) == 1
    date = {level: math.log2(p.m / (p.u or 1)) for level, p in fields["birth_date"].items()}
    assert date["same"] > date["swapped"] > date["slip"] > 0 > date["year differs"] > date["differs"]


@pytest.mark.parametrize(
    ("short", "names"),
    [
        ("bob", {"bert", "bobby", "robert"}),
        ("bill", {"robert", "will", "william", "willis"}),
        ("peggy", {"margaret", "margaretta", "marguerite"}),
        ("pat", {"patience", "patrick", "patricia"}),
    ],
)
def test_short_forms_of_the_package(short: str, names: set[str]) -> None:
    assert names <= full_names(short)


def test_a_short_form_works_in_both_directions_although_the_package_is_one_way() -> None:
    assert relation("bob", "robert") == relation("robert", "bob") == "nickname"


def test_a_pair_of_the_package_that_is_hardly_used_is_only_loose() -> None:
    assert relation("bill", "robert") == "loose"


def test_pat_has_several_meanings() -> None:
    assert meanings("pat") >= 3
    assert meanings("patricia") == 1 or meanings("patricia") < meanings("pat")
