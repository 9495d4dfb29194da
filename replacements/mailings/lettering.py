"""The typeface of everything that is printed, and what fits on a label.

DejaVu Sans where the machine has it (it has the letters of Vietnamese); else Vera, which comes with ReportLab. A letter
that the typeface lacks loses its accents rather than being printed as an empty box.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from functools import lru_cache

from reportlab.lib.units import inch
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFError, TTFont

SIDE = 0.2 * inch  # clear at both sides of a label
LARGEST, SMALLEST = 11.0, 8.0  # points; postal machines read 8 points and more (DMM 202, from memory)

_FAMILIES = (("DejaVuSans.ttf", "DejaVuSans-Bold.ttf"), ("Vera.ttf", "VeraBd.ttf"))


@dataclass(frozen=True, slots=True)
class Typeface:
    """Names of the registered fonts, and the characters that they have."""

    plain: str
    bold: str
    characters: frozenset[int]


@lru_cache(maxsize=1)
def typeface() -> Typeface:
    """The best typeface there is, registered with ReportLab."""
    for plain, bold in _FAMILIES:
        try:
            fonts = TTFont("Lettering", plain), TTFont("Lettering-Bold", bold)
        except TTFError:
            continue
        for font in fonts:
            pdfmetrics.registerFont(font)
        pdfmetrics.registerFontFamily("Lettering", normal="Lettering", bold="Lettering-Bold")
        return Typeface("Lettering", "Lettering-Bold", frozenset(fonts[0].face.charToGlyph))
    raise RuntimeError("no typeface: ReportLab's own Vera.ttf is missing")


def printable(text: str) -> str:
    """The text with letters that the typeface lacks reduced to their base letters; others stay."""
    has = typeface().characters
    letters = []
    for letter in unicodedata.normalize("NFC", text):
        base = unicodedata.normalize("NFD", letter)[0]
        letters.append(base if ord(letter) not in has and ord(base) in has else letter)
    return "".join(letters)


def lacks(text: str) -> str:
    """The characters of a text that cannot be printed."""
    return "".join(sorted({letter for letter in text if ord(letter) not in typeface().characters}))


def width(text: str, size: float, *, bold: bool = False) -> float:
    """Width in points."""
    face = typeface()
    return float(pdfmetrics.stringWidth(text, face.bold if bold else face.plain, size))


def fits(line: str, room: float) -> bool:
    """Does a line fit into so many points at the smallest size?"""
    return width(line, SMALLEST) <= room


def size_for(lines: list[str], *, room: float, height: float) -> float:
    """The largest size (points, in halves) at which these lines fit; `room` and `height` in points is what there is."""
    widest = max((width(line, 1.0) for line in lines), default=0.0)
    size = LARGEST
    while size > SMALLEST:
        if widest * size <= room and len(lines) * size * 1.2 <= height:
            break
        size -= 0.5
    return size
