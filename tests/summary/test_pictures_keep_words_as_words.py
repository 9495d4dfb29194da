"""Names and words in pictures come from files of the office: they stand there as written and are never markup."""

from __future__ import annotations

from dataclasses import replace
from xml.etree import ElementTree as ET

import pytest

from replacements.summary.control import Point
from replacements.summary.figures import Rate, Week
from replacements.summary.multiples import kinds, rates

NAMES = ("<b>Style 1", "A & B", "&lt;Style", 'A" onload="x', "]]><!--", "</text><svg/>")


def _parts(picture: str) -> list[str]:
    return [element.tag.rpartition("}")[2] for element in ET.fromstring(picture).iter()]


def _words(picture: str) -> list[str]:
    return [element.text or "" for element in ET.fromstring(picture).iter()]


@pytest.mark.parametrize("name", NAMES)
def test_the_name_of_a_style_is_drawn_as_it_is_written(name: str) -> None:
    point = Point(12.5, 0.0, 9.0)
    picture = rates("styles", f"Styles of {name}", [Rate(name, 400, 5, point)])
    assert _parts(picture) == _parts(rates("styles", "Styles", [Rate("B1", 400, 5, point)]))
    title, description, label = _words(picture)[1:4]
    assert (title, label) == (f"Styles of {name}", name)
    assert f" {name} 12.50 " in description


@pytest.mark.parametrize("name", NAMES)
def test_the_words_for_a_kind_of_request_are_drawn_as_they_are_written(busy: Week, name: str) -> None:
    week = replace(busy, by_kind={"spoiled_ballot": 3})
    picture = kinds(week, {"spoiled_ballot": name})
    assert _parts(picture) == _parts(kinds(week, {"spoiled_ballot": "Spoiled ballot"}))
    assert name in _words(picture)
    assert f"{name}: 3 in these days" in _words(picture)[2]
