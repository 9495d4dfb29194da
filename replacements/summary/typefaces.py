"""The typefaces of the printed week, embedded in the file, and how names in other scripts are set.

DejaVu Sans where the machine has it (it has the letters of Vietnamese), else Vera, which comes with ReportLab: there a
letter that it lacks loses its marks. Korean is set in a Korean typeface of the machine, embedded too; where it has
none, in one that readers of PDF files bring along, which cannot be embedded. `shortfalls` says what that means for the
names in hand, so that nobody takes a box for a name.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from itertools import groupby
from xml.sax.saxutils import escape

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.cidfonts import UnicodeCIDFont
from reportlab.pdfbase.ttfonts import TTFError, TTFont

PLAIN, BOLD, KOREAN = "Week", "Week-Bold", "Week-Korean"
READERS_OWN = "HYGothic-Medium"
MOST_CODES = 8  # of characters without a typeface, that are named
_FAMILIES = (("DejaVuSans.ttf", "DejaVuSans-Bold.ttf"), ("Vera.ttf", "VeraBd.ttf"))
_KOREAN = (
    "NanumGothic.ttf", "NanumBarunGothic.ttf", "NotoSansKR-Regular.ttf", "UnDotum.ttf", "DroidSansFallbackFull.ttf",
    "malgun.ttf", "AppleGothic.ttf",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Typefaces:
    """The characters of the plain face; the name of the Korean one and its characters, none where it is the reader's
    own."""

    characters: frozenset[int]
    korean: str
    korean_characters: frozenset[int]

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
        return Typefaces(frozenset(fonts[0].face.charToGlyph), *_korean())
    raise RuntimeError("no typeface: ReportLab's own Vera.ttf is missing")


def _korean() -> tuple[str, frozenset[int]]:
    for name in _KOREAN:
        try:
            font = TTFont(KOREAN, name)
        except TTFError:
            continue
        if ord("한") in font.face.charToGlyph:
            pdfmetrics.registerFont(font)
            return KOREAN, frozenset(font.face.charToGlyph)
    pdfmetrics.registerFont(UnicodeCIDFont(READERS_OWN))
    return READERS_OWN, frozenset()


def runs(text: str, face: str = PLAIN) -> list[tuple[str, str]]:
    """The text cut into (typeface, stretch) so that each stretch can be set in its face."""
    if text.isascii():
        return [(face, text)] if text else []
    letters = [_set(letter, face) for letter in unicodedata.normalize("NFC", text)]
    return [(name, "".join(letter for _, letter in run)) for name, run in groupby(letters, key=lambda pair: pair[0])]


def _set(letter: str, face: str) -> tuple[str, str]:
    """The typeface for a letter, and what is set of it: without its marks where only so it can be."""
    faces = typefaces()
    if ord(letter) in faces.characters:
        return face, letter
    if ord(letter) in faces.korean_characters or _is_hangul(letter):
        return faces.korean, letter
    base = unicodedata.normalize("NFD", letter)[0]
    return face, base if ord(base) in faces.characters else letter


def shortfalls(texts: Iterable[str]) -> list[str]:
    """What a reader must know of these texts in print, a sentence each: letters that are not in the file, that lost
    their marks, or that no typeface here has. Nothing where all is well."""
    faces, found = typefaces(), []
    letters = {letter for text in texts if not text.isascii() for letter in unicodedata.normalize("NFC", text)}
    if not faces.embeds_korean and any(map(_is_hangul, letters)):
        found.append(
            "Names in Korean letters show only where the program that opens this file has a Korean typeface of its "
            "own: the machine that made it has none to put in. Its keeper can install one (Debian: fonts-nanum)."
        )
    bare = sorted({shown for letter in letters if (shown := _set(letter, PLAIN)[1]) != letter})
    if bare:
        found.append(
            f"Names lost marks on these letters: {' '.join(bare)}. The machine that made this file has no typeface "
            "with such letters; its keeper can install one (Debian: fonts-dejavu-core)."
        )
    unknown = sorted(letter for letter in letters if not _has(letter))
    if unknown:
        codes = ", ".join(f"U+{ord(letter):04X}" for letter in unknown[:MOST_CODES])
        more = f" and {len(unknown) - MOST_CODES} more" if len(unknown) > MOST_CODES else ""
        found.append(
            f"Names hold characters that no typeface of the machine that made this file has ({codes}{more}); an empty "
            "box stands for each. The CSV files have the names as they are."
        )
    return found


def _has(letter: str) -> bool:
    """Whether something else than an empty box is printed for it."""
    face, shown = _set(letter, PLAIN)
    return face != PLAIN or ord(shown) in typefaces().characters


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
