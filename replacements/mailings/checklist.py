"""The packet checklist: packet by packet, what goes in, each with a box to tick, and first what differs from the rest.

Drawn line by line: a mailing may have thousands of packets, and a table for each would take minutes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from reportlab.lib.pagesizes import letter
from reportlab.lib.units import inch
from reportlab.lib.utils import simpleSplit
from reportlab.pdfgen.canvas import Canvas

from replacements.mailings.lettering import printable, typeface
from replacements.mailings.paper import BOX, MARGIN, PALE, WIDTH, Heading
from replacements.rules.calendar import return_limit
from replacements.rules.office import Rules

SIZE, LEADING = 9.5, 13.0  # points
TOP, BOTTOM = letter[1] - 0.95 * inch, 0.75 * inch
TITLE_WIDTH, STYLE_WIDTH = 2.0 * inch, 1.3 * inch
INDENT = 0.25 * inch
AFTER = 9.0
LANGUAGES = {
    "en": "English",
    "es": "Spanish",
    "vi": "Vietnamese",
    "ko": "Korean",
    "zh": "Chinese",
    "tl": "Tagalog",
    "ru": "Russian",
    "ja": "Japanese",
    "ar": "Arabic",
}


def differences(line: Mapping[str, Any], rules: Rules) -> list[str]:
    """What is not as in most packets, for whoever assembles this one."""
    found = []
    if line["id_required"]:
        found.append("Identification notice")
    if line["overseas"]:
        ours, theirs = (return_limit(rules, overseas=overseas).date() for overseas in (False, True))
        found.append("Overseas" if ours == theirs else f"Overseas: back by {_day(theirs)}")
    language = str(line["language"] or "")
    if language not in ("", "en"):
        found.append(f"Language: {LANGUAGES.get(language, language)}")
    return found


def _day(day: date) -> str:
    return f"{day:%B} {day.day}"


class Checklist:
    """Draws blocks down the page, and turns to a new one where a block does not fit whole."""

    def __init__(self, canvas: Canvas, heading: Heading) -> None:
        self._canvas, self._heading, self._face = canvas, heading, typeface()
        self._split: dict[tuple[str, bool, float], list[str]] = {}  # most packets hold the same: each is wrapped once
        self._y = TOP
        heading.draw(canvas)

    def title(self, text: str) -> None:
        """A heading over the packets that follow."""
        self._room(LEADING * 4)
        self._y -= LEADING * 1.2
        self._write(MARGIN, self._y, text, bold=True, size=11)
        self._y -= LEADING

    def packet(self, line: Mapping[str, Any], rules: Rules) -> None:
        """One packet that is filled: number, style, what differs; below it the items, in two columns."""
        items = [self._wrapped(str(item), bold=False, room=WIDTH / 2 - INDENT) for item in line["contents"]]
        half = (len(items) + 1) // 2
        columns = [items[:half], items[half:]]
        rows = max(sum(len(item) for item in column) for column in columns) if items else 0
        self._block(line, rules, rows, box=False)
        for place, column in enumerate(columns):
            x, y = MARGIN + place * WIDTH / 2, self._y
            for item in column:
                self._canvas.rect(x, y - SIZE, BOX, BOX)
                for text in item:
                    self._write(x + INDENT, y - SIZE + 1, text)
                    y -= LEADING
        self._y -= rows * LEADING + AFTER

    def sent(self, line: Mapping[str, Any], rules: Rules) -> None:
        """One ballot that the office's electronic channel sends: a box, and what differs."""
        self._block(line, rules, 0, box=True)
        self._y -= AFTER

    def _block(self, line: Mapping[str, Any], rules: Rules, rows: int, *, box: bool) -> None:
        """The shaded head of a packet, on a page where its rows fit as well."""
        differs = self._wrapped(
            "; ".join(differences(line, rules)), bold=True, room=WIDTH - TITLE_WIDTH - STYLE_WIDTH - 8
        )
        head = max(1, len(differs)) * LEADING + 4
        self._room(head + rows * LEADING + AFTER)
        canvas, ballot = self._canvas, line["ballot"]
        canvas.setFillColor(PALE)
        canvas.rect(MARGIN, self._y - head, WIDTH, head, stroke=0, fill=1)
        canvas.setFillGray(0)
        canvas.setLineWidth(0.8)
        y = self._y - LEADING
        x = MARGIN + 4
        if box:
            canvas.rect(x, y - 1, BOX, BOX)
            x += INDENT
        title = f"Ballot {ballot}" if ballot is not None else f"Packet {line['packet']}: no ballot"
        self._write(x, y, title, bold=True)
        if ballot is not None and line["style"]:
            self._write(MARGIN + TITLE_WIDTH, y, printable(f"Style {line['style']}"))
        for text in differs:
            self._write(MARGIN + TITLE_WIDTH + STYLE_WIDTH, y, text, bold=True)
            y -= LEADING
        self._y -= head + 3

    def _room(self, height: float) -> None:
        if self._y - height < BOTTOM and self._y < TOP:
            self._canvas.showPage()
            self._heading.draw(self._canvas)
            self._y = TOP

    def _write(self, x: float, y: float, text: str, *, bold: bool = False, size: float = SIZE) -> None:
        self._canvas.setFont(self._face.bold if bold else self._face.plain, size)
        self._canvas.drawString(x, y, text)

    def _wrapped(self, text: str, *, bold: bool, room: float) -> Sequence[str]:
        key = (text, bold, room)
        if key not in self._split:
            font = self._face.bold if bold else self._face.plain
            self._split[key] = simpleSplit(printable(text), font, SIZE, room) if text else []
        return self._split[key]
