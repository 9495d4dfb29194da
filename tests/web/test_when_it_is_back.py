"""The picture of when a ballot should be back: bars over days, the deadline marked, all of it in words too."""

from __future__ import annotations

import re
from datetime import date, timedelta
from xml.etree import ElementTree

import pytest

from replacements.rules.office import load_rules
from replacements.rules.transit import Back, days_back
from replacements.web.chance_picture import MOST_BARS, back_on_days
from tests.rules.conftest import SALTGRASS

SVG = "{http://www.w3.org/2000/svg}"
LIMIT = date(2026, 11, 3)


def drawn(back: list[Back], limit: date = LIMIT) -> ElementTree.Element:
    return ElementTree.fromstring(back_on_days(back, limit))


def texts(svg: ElementTree.Element) -> list[str]:
    return [element.text or "" for element in svg.iter(f"{SVG}text")]


def description(svg: ElementTree.Element) -> str:
    return svg.findtext(f"{SVG}desc") or ""


def test_every_bar_is_told_in_words_and_carries_its_number() -> None:
    svg = drawn([Back(date(2026, 11, 2), 0.6, 0), Back(date(2026, 11, 3), 0.3, 0), Back(date(2026, 11, 4), 0, 0.1)])
    assert svg.attrib["role"] == "img"
    assert svg.attrib["aria-labelledby"] == "back-title back-desc"
    assert description(svg) == (
        "Of 100 ballots, 90 should be back in time. Monday, November 2: 60. Tuesday, November 3: 30. "
        "Wednesday, November 4: 10 (too late). The last day that counts is Tuesday, November 3."
    )
    assert {"60", "30", "10", "counts until Nov 3"} <= set(texts(svg))


def test_what_is_too_late_is_hollow_and_stands_behind_the_line() -> None:
    svg = drawn([Back(date(2026, 11, 3), 0.5, 0), Back(date(2026, 11, 4), 0, 0.5)])
    full, hollow = svg.iter(f"{SVG}rect")
    assert (full.attrib["fill"], hollow.attrib["fill"]) == ("currentColor", "none")
    dashed = next(line for line in svg.iter(f"{SVG}line") if "stroke-dasharray" in line.attrib)
    assert (
        float(full.attrib["x"]) + float(full.attrib["width"]) < float(dashed.attrib["x1"]) < float(hollow.attrib["x"])
    )


def test_days_without_post_keep_their_place() -> None:
    svg = drawn([Back(date(2026, 10, 31), 0.5, 0), Back(date(2026, 11, 2), 0.5, 0)], date(2026, 11, 2))
    left, right = (float(bar.attrib["x"]) for bar in svg.iter(f"{SVG}rect"))
    width = (560 - 24) / 3
    assert right - left == pytest.approx(2 * width, abs=0.2)


@pytest.mark.parametrize(("limit", "arrow"), [(date(2026, 12, 20), "→"), (date(2026, 9, 1), "←")])
def test_a_deadline_outside_the_picture_is_pointed_at(limit: date, arrow: str) -> None:
    svg = drawn([Back(date(2026, 10, 20), 1.0, 0)], limit)
    assert any(arrow in text for text in texts(svg))
    assert f"{limit:%B}" in description(svg)


def test_a_long_tail_is_told_and_not_drawn() -> None:
    back = [Back(date(2026, 10, 1) + timedelta(days=day), 0.02, 0) for day in range(50)]
    svg = drawn(back)
    assert len(list(svg.iter(f"{SVG}rect"))) == MOST_BARS
    assert "Later than that: 58." in description(svg)


def test_no_text_leaves_the_picture() -> None:
    rules = load_rules(SALTGRASS)
    for day in range(10, 31):
        svg = drawn(list(days_back(rules, date(2026, 10, day))), date(2026, 11, 6))
        for text in svg.iter(f"{SVG}text"):
            x, words, anchor = float(text.attrib["x"]), text.text or "", text.attrib["text-anchor"]
            reach = len(words) * 7.0
            left = x - {"start": 0.0, "middle": 0.5, "end": 1.0}[anchor] * reach
            assert left >= -2, words
            assert left + reach <= 562, words


def test_nothing_at_all_draws_nothing() -> None:
    svg = drawn([])
    assert not list(svg.iter(f"{SVG}rect"))
    assert re.search("0 should be back", description(svg))
