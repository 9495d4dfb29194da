"""The bars of a barcode as one shape: ReportLab says where they are; one by one they take most of a label's time."""

from __future__ import annotations

from typing import cast

from reportlab.graphics.barcode.common import Barcode
from reportlab.pdfgen.canvas import Canvas


class _Bars:
    """Stands for the canvas while a barcode draws itself: keeps the rectangles."""

    def __init__(self) -> None:
        self.rectangles: list[tuple[float, float, float, float]] = []

    def rect(self, x: float, y: float, width: float, height: float, *, stroke: int = 0, fill: int = 1) -> None:
        self.rectangles.append((x, y, width, height))


def draw_bars(canvas: Canvas, code: Barcode, x: float, y: float) -> None:
    """Draw a barcode with its lower left corner at (x, y), in the canvas's present colour."""
    bars = _Bars()
    code.canv = cast(Canvas, bars)
    code.draw()
    shapes = " ".join(
        f"{x + left:.3f} {y + bottom:.3f} {width:.3f} {height:.3f} re"
        for left, bottom, width, height in bars.rectangles
    )
    canvas.addLiteral(f"{shapes} f")
