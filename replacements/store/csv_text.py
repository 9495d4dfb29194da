"""CSV that is handed out: quoted as RFC 4180 says, and safe to open in a spreadsheet.

A cell that a spreadsheet would take for a formula gets an apostrophe in front (OWASP ASVS 5.0.0, 1.2.10).
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "\0")


def safe(cell: object) -> str:
    """A cell's text. Numbers stay numbers, None is empty, text that could start a formula gets an apostrophe."""
    if cell is None:
        return ""
    if isinstance(cell, int | float) and not isinstance(cell, bool):
        return str(cell)
    text = str(cell)
    risky = text.lstrip(" \ufeff").startswith(_FORMULA_STARTS)
    text = text.replace("\0", "")
    return f"'{text}" if risky else text


def csv_text(headings: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """A whole table as CSV text: a heading line, then a line per row; lines end in CR LF."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(headings)
    writer.writerows([safe(cell) for cell in row] for row in rows)
    return out.getvalue()
