"""Letters of invented households, from the words to the voter: nobody gets another's ballot voided."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from datetime import date
from email.utils import parseaddr
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from replacements.reading.kinds import find_kinds
from replacements.reading.people import find_people
from replacements.reading.types import Kind, KindFound
from replacements.requests.judging import clues_of
from replacements.requests.records import BallotsInMemory
from replacements.roll.importing import read_roll
from replacements.roll.matching import identify
from replacements.roll.memory import MemoryRoll
from replacements.roll.standing import SUFFICIENT
from replacements.roll.types import Standing
from tests.reading.known_kinds import letter

_FOLDER = Path(__file__).parent / "messages"
_LETTERS: list[dict[str, Any]] = tomllib.loads((_FOLDER / "households.toml").read_text("utf-8"))["letter"]


@cache
def _roll() -> MemoryRoll:
    return MemoryRoll(read_roll(_FOLDER / "household_roll.csv").voters)


def judged(row: dict[str, Any]) -> list[tuple[str, str, bool]]:
    """Voter id ("-" for none), standing, and whether somebody else asks, for each person of the letter."""
    name, address = parseaddr(row["from"])
    mail = replace(letter(row["text"], name, address), subject=row.get("subject", ""))
    kinds = tuple(KindFound(Kind(k), 0.9, ()) for k in row.get("kinds", ["spoiled_ballot"]))
    people = find_people(mail, replace(find_kinds(mail), kinds=kinds))
    answers = []
    for person in people:
        clues = clues_of(person, BallotsInMemory([]))
        who = identify(clues, _roll(), sufficient=SUFFICIENT, today=date(2026, 10, 20))
        answers.append((who.voter.voter_id if who.voter else "-", who.standing.value, not person.is_writer))
    return answers


@pytest.mark.parametrize("row", _LETTERS, ids=lambda row: row["text"][:40])
def test_a_letter_is_about_whom_it_says(row: dict[str, Any]) -> None:
    found = judged(row)
    assert len(found) == len(row["about"]), found
    for (voter, standing, asked_by_another), wanted in zip(found, row["about"], strict=True):
        expected, standings, *other = wanted.split()
        assert standing in standings.split("|"), found
        assert expected in (voter, "-"), found
        if other != ["any"]:
            assert asked_by_another is (other == ["other"]), found


@pytest.mark.parametrize("row", _LETTERS, ids=lambda row: row["text"][:40])
def test_nobody_is_certain_who_is_not_meant(row: dict[str, Any]) -> None:
    meant = {wanted.split()[0] for wanted in row["about"]}
    assert {voter for voter, standing, _ in judged(row) if standing == Standing.CERTAIN} <= meant
