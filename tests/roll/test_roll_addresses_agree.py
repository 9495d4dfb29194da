"""How an address that somebody gives agrees with the one on file, where both are right."""

from __future__ import annotations

from datetime import date

import pytest

from replacements.roll.address_fit import agreement
from replacements.roll.matching import identify
from replacements.roll.memory import MemoryRoll
from replacements.roll.standing import SUFFICIENT
from replacements.roll.types import AddressClue, Clues, Standing, Voter


@pytest.mark.parametrize(
    ("said", "filed", "level"),
    [
        ("9 Heron Landing", "9 Heron Landing Rd", "same"),
        ("9 Heron Lndg", "9 Heron Landing Rd", "same"),
        ("9 Heron Landing Rd", "9 Heron Landing", "same"),
        ("9 Heron Rd", "9 Heron Landing Rd", "differs"),
        ("9 Heron Landing Ct", "9 Heron Landing Rd", "other street type"),
        ("11 Heron Landing", "9 Heron Landing Rd", "other house number"),
    ],
)
def test_a_street_word_left_out_behind_a_name_that_ends_in_one(said: str, filed: str, level: str) -> None:
    voter = Voter("81000001", "Moss", "Ida", street=filed, city="Dell", zip="97001")
    assert agreement((AddressClue(said),), voter) == (level, False)


def test_a_new_address_on_file_with_the_telephone_is_certain_though_the_old_one_differs() -> None:
    voter = Voter("81000001", "Moss", "Ida", street="9 Heron Rd", city="Dell", zip="97001", phone="(541) 555-0171")
    clues = Clues(
        ("Ida Moss",),
        addresses=(AddressClue("9 Heron Rd", moved=True), AddressClue("31 Fern St", city="Dell")),
        phones=("5415550171",),
    )
    who = identify(clues, MemoryRoll([voter, *others()]), sufficient=SUFFICIENT, today=date(2026, 10, 1))
    assert (who.standing, who.voter) == (Standing.CERTAIN, voter)


@pytest.mark.parametrize(
    ("written", "given", "standing"),
    [
        ("Stan Moss", "Stanley", Standing.CERTAIN),
        ("Katie Moss", "Katherine", Standing.CERTAIN),
        ("Ottil Moss", "Ottiliana", Standing.LIKELY),
        ("Joan Moss", "Zelda", Standing.NONE),
    ],
)
def test_short_forms_that_are_usual_and_one_that_no_table_has(written: str, given: str, standing: Standing) -> None:
    voter = Voter("81000001", "Moss", given, street="9 Heron Rd", city="Dell", zip="97001")
    clues = Clues((written,), addresses=(AddressClue("9 Heron Rd", city="Dell"),))
    who = identify(clues, MemoryRoll([voter, *others()]), sufficient=SUFFICIENT, today=date(2026, 10, 1))
    assert who.standing is standing


def others() -> list[Voter]:
    """Enough voters that a name and a street are rare."""
    return [
        Voter(f"82{n:06}", f"Quill{n}", "Bram", street=f"{n + 20} Larch Way", city="Orrin", zip="97002")
        for n in range(200)
    ]
