"""Labels on letter paper: ten to a sheet, two across and five down, each 4 by 2 inches.

On each: the ballot's number to read and as Code 128, the address as it was frozen, and below it the postal barcode
where the office's rules name a service type and the packet holds a ballot for an address at home.
"""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO

from reportlab.graphics.barcode.code128 import Code128
from reportlab.graphics.barcode.usps4s import USPS_4State
from reportlab.lib.pagesizes import letter
from reportlab.lib.units import inch
from reportlab.pdfgen.canvas import Canvas

from replacements.mailings import postal_barcode
from replacements.mailings.lettering import LABEL_HEIGHT, LABEL_WIDTH, SIDE, size_for, typeface
from replacements.rules.office import Rules
from replacements.store.tables import Packet

ACROSS, DOWN = 2, 5
LEFT, TOP = 0.156 * inch, 0.5 * inch  # margins of the sheet
BETWEEN = 0.188 * inch  # between the two columns
NUMBER_SIZE = 9.0
CODE_WIDTH, CODE_HEIGHT = 0.9, 22.0  # points: one module, and the bars' height
HEAD = 0.5 * inch  # the part with the ballot's number
POSTAL_FROM_BELOW = 0.12 * inch
POSTAL_ROOM = 0.36 * inch  # bars with clear space above and below
LINE_SPACING = 1.2


def draw(packets: Sequence[Packet], rules: Rules, *, title: str) -> bytes:
    """A PDF with a label for each packet, in order. `packets` are frozen or mailed."""
    face = typeface()
    file = BytesIO()
    canvas = Canvas(file, pagesize=letter, invariant=1)
    canvas.setTitle(title)
    per_sheet = ACROSS * DOWN
    for place, packet in enumerate(packets):
        if place and place % per_sheet == 0:
            canvas.showPage()
        row, column = divmod(place % per_sheet, ACROSS)
        x = LEFT + column * (LABEL_WIDTH + BETWEEN)
        y = letter[1] - TOP - (row + 1) * LABEL_HEIGHT
        _label(canvas, packet, rules, x, y)
    if not packets:
        canvas.setFont(face.plain, NUMBER_SIZE)
        canvas.drawString(inch, letter[1] - inch, "No labels: this mailing has no packets.")
    canvas.save()
    return file.getvalue()


def _label(canvas: Canvas, packet: Packet, rules: Rules, x: float, y: float) -> None:
    """One label, its lower left corner at (x, y)."""
    face = typeface()
    lines = [str(line) for line in packet.label or ()]
    top = y + LABEL_HEIGHT - 0.14 * inch
    canvas.setFont(face.bold, NUMBER_SIZE)
    if packet.ballot_number is not None:
        canvas.drawString(x + SIDE, top - NUMBER_SIZE, f"Ballot {packet.ballot_number}")
        code = Code128(packet.ballot_number, barWidth=CODE_WIDTH, barHeight=CODE_HEIGHT, quiet=0)
        code.drawOn(canvas, x + LABEL_WIDTH - SIDE - code.width, top - CODE_HEIGHT)
    else:
        canvas.drawString(x + SIDE, top - NUMBER_SIZE, f"Packet {packet.id}: no ballot")
    bars = _postal(packet, rules, lines)
    below = y + (POSTAL_FROM_BELOW + POSTAL_ROOM if bars else 0.14 * inch)
    height = y + LABEL_HEIGHT - HEAD - below
    size = size_for(lines, height=height)
    line_height = size * LINE_SPACING
    baseline = below + (height + len(lines) * line_height) / 2 - size
    canvas.setFont(face.plain, size)
    for line in lines:
        canvas.drawString(x + SIDE, baseline, line)
        baseline -= line_height
    if bars is not None:
        bars.drawOn(canvas, x + SIDE, y + POSTAL_FROM_BELOW)


def _postal(packet: Packet, rules: Rules, lines: Sequence[str]) -> USPS_4State | None:
    """The postal barcode. Only on a ballot: service types of ballots are for live ballots and nothing else."""
    if packet.ballot_number is None or not lines:
        return None
    numbers = postal_barcode.payload(rules, packet.id, lines[-1])
    if numbers is None or not numbers[1]:
        return None  # no routing code: the last line is a country's
    bars = USPS_4State(*numbers)
    bars.widthSize = bars.heightSize = 0.5  # the middle of what the standard allows, for printers that scale a little
    return bars
