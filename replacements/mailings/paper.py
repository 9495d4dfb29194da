"""Letter paper as the mail room's lists are printed on it: heading, footing, texts, tables, boxes to tick."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from io import BytesIO
from typing import Any
from xml.sax.saxutils import escape

from reportlab.lib import colors
from reportlab.lib.enums import TA_RIGHT
from reportlab.lib.pagesizes import letter
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import inch
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, Paragraph, SimpleDocTemplate, Spacer, Table, TableStyle

from replacements.mailings.lettering import printable, typeface
from replacements.rules.calendar import local
from replacements.rules.office import Rules
from replacements.store.tables import Mailing

MARGIN = 0.7 * inch
WIDTH = letter[0] - 2 * MARGIN
BOX = 9.0  # points, the side of a box to tick
PALE = colors.HexColor("#eeeeee")
LINE = colors.HexColor("#999999")


class Box(Flowable):
    """A box to tick."""

    def wrap(self, _width: float, _height: float) -> tuple[float, float]:
        return BOX, BOX

    def draw(self) -> None:
        self.canv.setLineWidth(0.8)
        self.canv.rect(0, 0, BOX, BOX)


def _style(*, bold: bool = False, right: bool = False, size: float = 9.5) -> ParagraphStyle:
    face = typeface()
    return ParagraphStyle(
        "text",
        fontName=face.bold if bold else face.plain,
        fontSize=size,
        leading=size * 1.3,
        alignment=TA_RIGHT if right else 0,
    )


def plain(text: str, *, small: bool = False) -> Paragraph:
    return Paragraph(escape(printable(text)), _style(size=7.5 if small else 9.5))


def bold(text: str) -> Paragraph:
    return Paragraph(escape(printable(text)), _style(bold=True))


def right(text: str, *, bold: bool = False) -> Paragraph:
    return Paragraph(escape(text), _style(bold=bold, right=True))


def head(*texts: str) -> list[Any]:
    return [bold(text) for text in texts]


def section(title: str, *paragraphs: str) -> list[Flowable]:
    """A heading with its paragraphs; nothing where there are none (but a lone heading for what follows it)."""
    if not paragraphs and title != "Signatures":
        return []
    parts: list[Flowable] = [Spacer(1, 8), Paragraph(escape(title), _style(bold=True, size=11)), Spacer(1, 4)]
    return [*parts, *(plain(paragraph) for paragraph in paragraphs)]


def ruled(rows: list[list[Any]], inches: Sequence[float | None], *, shaded: Sequence[int] = ()) -> Table:
    """A ruled table whose heading is repeated on each page. A width of None takes what is left."""
    given = sum(size * inch for size in inches if size is not None)
    widths = [size * inch if size is not None else WIDTH - given for size in inches]
    table = Table(rows, colWidths=widths, repeatRows=1, hAlign="LEFT")
    style: list[Any] = [
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LINEBELOW", (0, 0), (-1, 0), 1.0, colors.black),
        ("LINEBELOW", (0, 1), (-1, -1), 0.4, LINE),
        *(("BACKGROUND", (0, row), (-1, row), PALE) for row in shaded),
    ]
    table.setStyle(TableStyle(style))
    return table


@dataclass(frozen=True, slots=True)
class Heading:
    """The head and foot of every page: what it is, the office, the mailing's day, the manifest's hash, the page."""

    title: str
    mailing: Mailing
    rules: Rules

    def draw(self, canvas: Canvas) -> None:
        face, rules, mailing = typeface(), self.rules, self.mailing
        closed = f"closed {clock(local(rules, mailing.closed_at))}" if mailing.closed_at else ""
        top = letter[1] - 0.55 * inch
        canvas.saveState()
        canvas.setFont(face.bold, 14)
        canvas.drawString(MARGIN, top, f"{self.title}: mailing of {day_text(mailing.goes_on)}")
        canvas.setFont(face.plain, 8.5)
        canvas.drawString(MARGIN, top - 14, printable(f"{rules.office.name}; {rules.election.name}; {closed}"))
        canvas.setFont(face.plain, 7.5)
        canvas.drawString(MARGIN, 0.45 * inch, f"Manifest {(mailing.manifest or {}).get('sha256', '')[:16]}")
        canvas.drawRightString(letter[0] - MARGIN, 0.45 * inch, f"Page {canvas.getPageNumber()}")
        canvas.restoreState()


def flowing(title: str, mailing: Mailing, rules: Rules, story: Sequence[Flowable]) -> bytes:
    """A document of flowing parts, its heading on every page."""
    heading = Heading(title, mailing, rules)
    file = BytesIO()
    document = SimpleDocTemplate(
        file,
        pagesize=letter,
        leftMargin=MARGIN - 6,
        rightMargin=MARGIN - 6,
        topMargin=0.95 * inch,
        bottomMargin=0.7 * inch,
        title=f"{title} {mailing.goes_on}",
        invariant=1,
    )
    document.build(
        list(story),
        onFirstPage=lambda canvas, _document: heading.draw(canvas),
        onLaterPages=lambda canvas, _document: heading.draw(canvas),
    )
    return file.getvalue()


def day_text(day: date) -> str:
    return f"{day:%A}, {day:%B} {day.day}, {day.year}"


def clock(at: datetime) -> str:
    return f"{at:%B} {at.day}, {at.year}, {at.hour % 12 or 12}:{at:%M} {'am' if at.hour < 12 else 'pm'}"


def moment(rules: Rules, text: str) -> str:
    return clock(local(rules, datetime.fromisoformat(text)))
