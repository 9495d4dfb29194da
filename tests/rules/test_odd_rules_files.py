"""Whatever stands in a rules file: it is read, or refused with a list of mistakes. Nothing else comes out."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from replacements.rules.office import Mistake, RulesError, parse_rules

ODD = ('""', '"x"', "-1", "0", "1.5", "nan", "true", "[]", "[1]", "{}", "{ a = 1 }", "2026-11-03", "07:00:00")
ODD_TIMES = ("1970-01-01T00:00:00", "9999-12-31T23:59:59", "2026-11-03T20:00:00-05:00", "2026-11-01T01:30:00")


def assignments(text: str) -> Iterator[tuple[int, str]]:
    """The lines that give one entry on one line."""
    for number, line in enumerate(text.splitlines()):
        name, is_entry, value = line.partition(" = ")
        if is_entry and not value.rstrip().endswith("["):
            yield number, name


def mistakes_of(text: str) -> tuple[Mistake, ...]:
    """None of them where the text is read."""
    try:
        parse_rules(text)
    except RulesError as error:
        return error.mistakes
    return ()


@pytest.mark.parametrize("value", [*ODD, *ODD_TIMES])
def test_an_odd_value_in_any_entry_is_read_or_named_where_it_stands(saltgrass_text: str, value: str) -> None:
    lines = saltgrass_text.splitlines()
    for number, name in assignments(saltgrass_text):
        found = mistakes_of("\n".join([*lines[:number], f"{name} = {value}", *lines[number + 1 :]]))
        near = [m for m in found if abs(m.line - number - 1) <= 1 or m.entry.startswith("dates")]
        assert not found or near, f"{name} = {value}: {found}"
        assert all(mistake.expected and mistake.found for mistake in found)


@pytest.mark.parametrize("value", ODD)
def test_an_odd_value_instead_of_a_section_is_read_or_named(saltgrass_text: str, value: str) -> None:
    for section in tomllib.loads(saltgrass_text):
        kept = [part for part in saltgrass_text.split("\n[") if not part.lstrip("[").startswith(section)]
        found = mistakes_of(f"{section} = {value}\n" + "\n[".join(kept))
        assert all(mistake.expected and mistake.found for mistake in found)


@settings(max_examples=200, deadline=None)
@given(st.text(max_size=200))
def test_any_text_is_read_or_refused(text: str) -> None:
    with pytest.raises(RulesError):
        parse_rules(text)


def test_a_time_that_comes_twice_when_the_clocks_go_back_is_the_first(saltgrass_text: str) -> None:
    rules = parse_rules(saltgrass_text.replace("2026-10-31T15:00:00", "2026-11-01T01:30:00"))
    offset: Any = rules.dates.last_in_person.utcoffset()
    assert offset.total_seconds() == -4 * 3600


def test_a_time_with_a_zone_of_its_own_is_that_moment(saltgrass_text: str) -> None:
    rules = parse_rules(saltgrass_text.replace("2026-10-31T15:00:00", "2026-10-31T19:00:00Z"))
    assert rules.dates.last_in_person.hour == 15
