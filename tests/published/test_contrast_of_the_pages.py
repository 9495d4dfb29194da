"""Colours of the pages against WCAG 2.2 (W3C Recommendation, October 2023), 1.4.3 (text 4.5:1) and 1.4.11 (parts 3:1),
by the formula under "contrast ratio" and "relative luminance". The two greys at the limit are computed by that formula.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import replacements.web

OWN = (Path(replacements.web.__file__).parent / "static" / "own.css").read_text(encoding="utf-8")
TEXT = [
    *((ink, ground) for ink in ("ink", "faint", "link", "stop", "good", "note") for ground in ("ground", "sheet")),
    ("good", "good-ground"),
    ("stop", "stop-ground"),
    ("note", "note-ground"),
    ("ink", "stop-ground"),
    ("deep-ink", "deep"),
    ("mark-ink", "mark-ground"),
]
PARTS = [(part, ground) for part in ("edge", "deep", "link", "stop") for ground in ("ground", "sheet")]


COLOUR = r"--([a-z-]+): (#(?:[0-9a-f]{6}|[0-9a-f]{3}))\b"
SCHEMES = ("light", "dark", "print")  # in the file's order


def _luminance(colour: str) -> float:
    if len(colour) == 4:  # #abc is #aabbcc
        colour = "#" + "".join(2 * digit for digit in colour[1:])
    channels = (int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5))
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    lighter, darker = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def _colours(scheme: str) -> dict[str, str]:
    schemes = dict(zip(SCHEMES, re.findall(r":root \{([^}]*--ground[^}]*)\}", OWN), strict=True))
    light, own = (dict(re.findall(COLOUR, schemes[name])) for name in ("light", scheme))
    return {**light, **own}  # what a scheme does not set is as in the light


def test_the_formula_gives_the_known_values_at_the_limit() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.542, abs=0.001)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.478, abs=0.001)
    assert contrast("#949494", "#ffffff") == pytest.approx(3.034, abs=0.001)


@pytest.mark.parametrize("scheme", SCHEMES)
def test_text_can_be_read_on_every_ground_that_it_stands_on(scheme: str) -> None:
    colours = _colours(scheme)
    assert [pair for pair in TEXT if contrast(colours[pair[0]], colours[pair[1]]) < 4.5] == []


@pytest.mark.parametrize("scheme", SCHEMES)
def test_borders_of_fields_focus_and_bars_can_be_seen(scheme: str) -> None:
    colours = _colours(scheme)
    assert [pair for pair in PARTS if contrast(colours[pair[0]], colours[pair[1]]) < 3.0] == []
