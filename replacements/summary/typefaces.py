"""The typefaces of the printed week, embedded in the file, and how names in other scripts are set.

DejaVu Sans where the machine has it (it has the letters of Vietnamese), else Vera, which comes with ReportLab: there a
letter that it lacks loses its marks. Korean is set in a Korean typeface of the machine, embedded too; where it has
none, in one that every reader of PDF files brings along, which cannot be embedded.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from functools import lru_cache
from itertools import groupby
from xml.sax.saxutils import escape

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.cidfonts import UnicodeCIDFont
from reportlab.pdfbase.ttfonts import TTFError, TTFont

PLAIN, BOLD, KOREAN = "Week", "Week-Bold", "Week-Korean"
READERS_OWN = "HYGothic-Medium"
_FAMILIES = (("DejaVuSans.ttf", "DejaVuSans-Bold.ttf"), ("Vera.ttf", "VeraBd.ttf"))
_KOREAN = (
    "NanumGothic.ttf", "NanumBarunGothic.ttf", "NotoSansKR-Regular.ttf", "UnDotum.ttf", "DroidSansFallbackFull.ttf",
    "malgun.ttf", "AppleGothic.ttf",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Typefaces:
    """The characters of the plain face, and the name of the Korean one."""

    characters: frozenset[int]
    korean: str

    @property
    def embeds_korean(self) -> bool:
        return self.korean == KOREAN


@lru_cache(maxsize=1)
def typefaces() -> Typefaces:
    """The best there are, registered with ReportLab."""
    for plain, bold in _FAMILIES:
        try:
            fonts = TTFont(PLAIN, plain), TTFont(BOLD, bold)
        except TTFError:
            continue
        for font in fonts:
            pdfmetrics.registerFont(font)
        pdfmetrics.registerFontFamily(PLAIN, normal=PLAIN, bold=BOLD, italic=PLAIN, boldItalic=BOLD)
        return Typefaces(frozenset(fonts[0].face.charToGlyph), _korean())
    raise RuntimeError("no typeface: ReportLab's own Vera.ttf is missing")


def _korean() -> str:
    for name in _KOREAN:
        try:
            font = TTFont(KOREAN, name)
        except TTFError:
            continue
        if ord("한") in font.face.charToGlyph:
            pdfmetrics.registerFont(font)
            return KOREAN
    pdfmetrics.registerFont(UnicodeCIDFont(READERS_OWN))
    return READERS_OWN


def runs(text: str, face: str = PLAIN) -> list[tuple[str, str]]:
    """The text cut into (typeface, stretch) so that each stretch can be set in its face."""
    has = typefaces().characters
    letters = []
    for letter in unicodedata.normalize("NFC", text):
        base = unicodedata.normalize("NFD", letter)[0]
        if _is_hangul(letter):
            letters.append((typefaces().korean, letter))
        else:
            letters.append((face, base if ord(letter) not in has and ord(base) in has else letter))
    return [(name, "".join(letter for _, letter in run)) for name, run in groupby(letters, key=lambda pair: pair[0])]


def marked_up(text: str, face: str = PLAIN) -> str:
    """The same as a paragraph's markup."""
    return "".join(
        escape(stretch) if name == face else f'<font name="{name}">{escape(stretch)}</font>'
        for name, stretch in runs(text, face)
    )


def width(text: str, size: float, face: str = PLAIN) -> float:
    """Width in points."""
    return sum(float(pdfmetrics.stringWidth(stretch, name, size)) for name, stretch in runs(text, face))


def _is_hangul(letter: str) -> bool:
    return "\uac00" <= letter <= "\ud7a3" or "\u3130" <= letter <= "\u318f" or "\u1100" <= letter <= "\u11ff"
