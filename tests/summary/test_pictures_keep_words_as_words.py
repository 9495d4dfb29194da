"""Names and words in pictures come from files of the office: they stand there as written and are never markup."""

from __future__ import annotations

from dataclasses import replace
from xml.etree import ElementTree as ET

import pytest

from replacements.summary.control import Point
from replacements.summary.drawing import WIDTH
from replacements.summary.figures import Rate, Week
from replacements.summary.multiples import PANELS, kinds, rates
from replacements.summary.typefaces import typefaces, width
from replacements.words import with_capital, words

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
def test_a_kind_of_request_without_a_word_of_its_own_is_drawn_as_it_is_written(busy: Week, name: str) -> None:
    picture = kinds(replace(busy, by_kind={name: 3}))
    assert _parts(picture) == _parts(kinds(replace(busy, by_kind={"spoiled_ballot": 3})))
    assert name in _words(picture)
    assert f"{name}: 3 in these days" in _words(picture)[2]


def test_the_words_for_a_kind_fit_its_panel(busy: Week) -> None:
    """None is cut, and none runs into the next; letters of the widest typeface that pages and paper may have."""
    typefaces()
    drawn = {word: with_capital(word) for word in words("kind").values()}
    week = replace(busy, by_kind=dict.fromkeys(words("kind"), 1))
    assert set(drawn.values()) <= set(_words(kinds(week)))
    for label in (one for one in ET.fromstring(kinds(week)).iter() if one.text in drawn.values()):
        assert width(label.text or "", float(label.get("font-size", "13"))) < WIDTH / PANELS - 6


@pytest.mark.parametrize("value", [0.0, 14.08, 100.0])
@pytest.mark.parametrize(("events", "mark"), [(1, "few"), (9, "!")])
def test_the_number_beside_a_rate_fits_the_picture(value: float, events: int, mark: str) -> None:
    typefaces()
    point = Point(value, 0.0, 200.0) if mark == "few" else Point(value, value + 1, value + 2)
    picture = ET.fromstring(rates("styles", "Styles", [Rate("B1", 100, events, point)]))
    label = next(one for one in picture.iter() if one.text == f"{value:.2f} {mark}")
    assert float(label.get("x", "0")) + width(label.text or "", float(label.get("font-size", "13"))) <= WIDTH
