"""A QR code (ISO/IEC 18004) as the one path of an inline SVG."""

from __future__ import annotations

from dataclasses import dataclass

from reportlab.graphics.barcode.qrencoder import QRCode, QRErrorCorrectLevel

QUIET = 4  # modules of white around it (ISO/IEC 18004, 9.1)


@dataclass(frozen=True, slots=True)
class Drawing:
    """`path` for an SVG whose view is `size` units wide and high, a unit a module, the white around it counted."""

    size: int
    path: str


def modules(text: str) -> list[list[bool]]:
    """The code's modules row by row, True for dark. Error correction level M."""
    code = QRCode(None, QRErrorCorrectLevel.M)
    code.addData(text)
    code.make()
    return [[bool(dark) for dark in row] for row in code.modules]


def drawing(text: str) -> Drawing:
    rows = modules(text)
    path = "".join(
        f"M{column + QUIET} {row + QUIET}h1v1h-1z"
        for row, line in enumerate(rows)
        for column, dark in enumerate(line)
        if dark
    )
    return Drawing(len(rows) + 2 * QUIET, path)
