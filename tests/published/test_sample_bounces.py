"""Bounces of many post programs, gathered over twenty years by a project that reads nothing else.

Source: flufl.bounce 6.0.0 (Apache-2.0), source distribution, tests/data: 117 messages.
"""

from __future__ import annotations

from replacements.mail.letter import Letter
from replacements.mail.parsing import parse
from replacements.reading.reader import read
from replacements.reading.types import Kind
from tests.published.samples import members


def _letters() -> dict[str, Letter]:
    return {name: parse(raw) for name, raw in members("flufl_bounce-6.0.0.tar.gz", "tests/data/")}


def test_ninety_eight_of_a_hundred_bounces_are_known_for_a_machines() -> None:
    letters = _letters()
    people = {name for name, letter in letters.items() if letter.machine is None}
    assert len(letters) == 117
    assert len(people) <= 0.02 * len(letters)
    # What is left is a person's answer with its history below, which that project keeps as an example of no bounce.
    assert people <= {"groupwise_03.txt"}


def test_machine_mail_is_read_as_automatic_and_nothing_else_so_that_none_is_answered() -> None:
    for name, letter in _letters().items():
        if letter.machine is not None:
            assert {found.kind for found in read(letter).kinds} == {Kind.AUTOMATIC}, name
