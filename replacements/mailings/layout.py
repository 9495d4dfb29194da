"""Where on the paper an address is printed: on sheets of labels, or where an envelope's window shows it.

What the office's rules say in inches, in points (72 to the inch). A closed mailing keeps the layout that it was closed
with, so that a label printed again is the same label.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from reportlab.lib.pagesizes import letter
from reportlab.lib.units import inch

from replacements.mailings.lettering import SIDE, SMALLEST
from replacements.rules.office import Rules

EDGE = 0.14 * inch  # clear at the upper and lower edge of a label
WINDOW_EDGE = 0.0625 * inch  # the same within a window
HEAD = 0.5 * inch  # the part of a label with the ballot's number
POSTAL_ROOM = 0.36 * inch  # bars with clear space above and below
LINE_SPACING = 1.2


@dataclass(frozen=True, slots=True)
class Place:
    """The lower left corner of one label on its sheet, in points from the sheet's lower left corner."""

    x: float
    y: float


@dataclass(frozen=True, slots=True)
class Layout:
    """`on`: sheet or window. `width`, `height`: of a label, or of the window. All in points."""

    on: str
    across: int
    down: int
    width: float
    height: float
    left: float
    top: float
    between_columns: float
    between_rows: float

    @classmethod
    def of(cls, rules: Rules) -> Layout:
        """The layout that the rules ask for."""
        if rules.mailing.labels == "window":
            window = rules.mailing.window
            size = (window.width * inch, window.height * inch, window.left * inch, window.top * inch)
            return cls("window", 1, 1, *size, 0.0, 0.0)
        sheet = rules.mailing.label_sheet
        size = (sheet.width * inch, sheet.height * inch, sheet.left * inch, sheet.top * inch)
        return cls("sheet", sheet.across, sheet.down, *size, sheet.between_columns * inch, sheet.between_rows * inch)

    @classmethod
    def frozen(cls, kept: Mapping[str, Any] | None, rules: Rules) -> Layout:
        """The layout that a mailing was closed with; that of the rules where the mailing is older than such records."""
        return cls(**kept) if kept else cls.of(rules)

    def record(self) -> dict[str, Any]:
        """As plain data, for the manifest; lengths to a thousandth of a point."""
        return {name: round(value, 3) if isinstance(value, float) else value for name, value in asdict(self).items()}

    @property
    def per_sheet(self) -> int:
        return self.across * self.down

    def place(self, number: int) -> Place:
        """Where the label of this number (from 0) is on its sheet, counted from the top, row by row."""
        row, column = divmod(number % self.per_sheet, self.across)
        x = self.left + column * (self.width + self.between_columns)
        y = letter[1] - self.top - (row + 1) * self.height - row * self.between_rows
        return Place(x, y)

    @property
    def line_width(self) -> float:
        """How long a line of the address may be."""
        return self.width - 2 * SIDE

    def address_height(self, *, postal: bool) -> float:
        """How high the address may be, with a postal barcode below it or without."""
        if self.on == "window":
            return self.height - 2 * WINDOW_EDGE - (POSTAL_ROOM - WINDOW_EDGE if postal else 0)
        return self.height - HEAD - (POSTAL_ROOM + EDGE if postal else EDGE)

    def most_lines(self, *, postal: bool) -> int:
        """How many lines there is room for, in the smallest letters that machines read."""
        return int(self.address_height(postal=postal) / (SMALLEST * LINE_SPACING))
