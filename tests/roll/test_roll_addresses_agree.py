"""How an address that somebody gives agrees with the one on file, where both are right."""

from __future__ import annotations

import pytest

from replacements.roll.address_fit import agreement
from replacements.roll.types import AddressClue, Voter


@pytest.mark.parametrize(
    ("said", "filed", "level"),
    [
        ("9 Heron Landing", "9 Heron Landing Rd", "same"),
        ("9 Heron Lndg", "9 Heron Landing Rd", "same"),
        ("9 Heron Landing Rd", "9 Heron Landing", "same"),
        ("9 Heron Rd", "9 Heron Landing Rd", "differs"),
        ("9 Heron Landing Ct", "9 Heron Landing Rd", "other street type"),
        ("11 Heron Landing", "9 Heron Landing Rd", "differs"),
    ],
)
def test_a_street_word_left_out_behind_a_name_that_ends_in_one(said: str, filed: str, level: str) -> None:
    voter = Voter("81000001", "Moss", "Ida", street=filed, city="Dell", zip="97001")
    assert agreement((AddressClue(said),), voter) == (level, False)
