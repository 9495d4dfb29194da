"""CSV that is handed out: quoted as RFC 4180 says, and safe to open in a spreadsheet.

A cell that a spreadsheet would take for a formula gets an apostrophe in front (OWASP ASVS 5.0.0, 1.2.10). The first
character that can be seen says which those are: programs differ in what they pass over before it, and some take a
full-width sign for the plain one.
"""

from __future__ import annotations

import csv
import io
import unicodedata
from collections.abc import Iterable, Sequence

_SIGNS = "=+-@"
_BLANK_LETTERS = "\u115f\u1160\u2800\u3164\uffa0"  # letters and symbols by their category, of which nothing is seen


def _could_be_a_formula(text: str) -> bool:
    for character in text:
        category = unicodedata.category(character)
        if category == "Cc":  # tab, line ends, NUL: a program may begin to read anew after it
            return True
        if category[0] not in "ZCM" and character not in _BLANK_LETTERS:
            return unicodedata.normalize("NFKC", character)[0] in _SIGNS
    return False


def safe(cell: object) -> str:
    """A cell's text. Numbers stay numbers, None is empty, text that could start a formula gets an apostrophe."""
    if cell is None:
        return ""
    if isinstance(cell, int | float) and not isinstance(cell, bool):
        return str(cell)
    text = str(cell)
    bare = text.replace("\0", "")
    return f"'{bare}" if _could_be_a_formula(text) else bare


def as_written(cell: str) -> str:
    """What a cell held before `safe` put an apostrophe in front of it."""
    bare = cell.removeprefix("'")
    return bare if _could_be_a_formula(bare) else cell


def csv_text(headings: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """A whole table as CSV text: a heading line, then a line per row; lines end in CR LF."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(headings)
    writer.writerows([safe(cell) for cell in row] for row in rows)
    return out.getvalue()
