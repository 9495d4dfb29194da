"""Damm's check digit against H. Michael Damm, "Total anti-symmetrische Quasigruppen", dissertation, Marburg 2004.

The example 572 → 4 is the one that is usually cited with it (from memory); the two properties are what it promises.
"""

from __future__ import annotations

from replacements.ballots.numbers import has_check_digit, with_check_digit


def test_the_usual_example() -> None:
    assert with_check_digit("572") == "5724"
    assert has_check_digit("5724")
    assert not has_check_digit("5727")


def test_every_wrong_digit_and_every_swap_of_neighbours_is_caught_in_all_numbers_of_three_digits() -> None:
    for body in range(1000):
        number = with_check_digit(f"{body:03d}")
        for place in range(4):
            for digit in set("0123456789") - {number[place]}:
                assert not has_check_digit(number[:place] + digit + number[place + 1 :])
        for place in range(3):
            swapped = number[:place] + number[place + 1] + number[place] + number[place + 2 :]
            assert swapped == number or not has_check_digit(swapped)
