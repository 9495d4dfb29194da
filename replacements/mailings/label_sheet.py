"""Labels on sheets, or a page for each packet whose address an envelope's window shows. As the mailing was closed.

On each: the ballot's number to read and as Code 128, the address as it was frozen, and below it the postal barcode
where one was frozen with it.
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
from replacements.mailings.bars import draw_bars
from replacements.mailings.layout import EDGE, HEAD, LINE_SPACING, POSTAL_ROOM, WINDOW_EDGE, Layout, Place
from replacements.mailings.lettering import SIDE, size_for, typeface
from replacements.store.tables import Packet

NUMBER_SIZE = 9.0
CODE_WIDTH, CODE_HEIGHT = 0.9, 22.0  # points: one module, and the bars' height
POSTAL_FROM_BELOW = 0.12 * inch
PAGE_MARGIN = 0.7 * inch


def draw(packets: Sequence[Packet], layout: Layout, *, title: str) -> bytes:
    """A PDF with a label for each packet, in order. `packets` are frozen or mailed, and go by post."""
    face = typeface()
    file = BytesIO()
    canvas = Canvas(file, pagesize=letter, invariant=1)
    canvas.setTitle(title)
    for number, packet in enumerate(packets):
        if number and number % layout.per_sheet == 0:
            canvas.showPage()
        place = layout.place(number)
        if layout.on == "window":
            _page(canvas, packet, layout, place)
        else:
            _label(canvas, packet, layout, place)
    if not packets:
        canvas.setFont(face.plain, NUMBER_SIZE)
        canvas.drawString(inch, letter[1] - inch, "No labels: this mailing has no packets.")
    canvas.save()
    return file.getvalue()


def _label(canvas: Canvas, packet: Packet, layout: Layout, place: Place) -> None:
    """One label of a sheet: the number above, the address below it, the postal barcode last."""
    top = place.y + layout.height - EDGE
    _number(canvas, packet, place.x + SIDE, place.x + layout.width - SIDE, top)
    bars = _postal(packet)
    below = place.y + (POSTAL_FROM_BELOW + POSTAL_ROOM if bars else EDGE)
    height = place.y + layout.height - HEAD - below
    _address(canvas, packet, layout, place.x + SIDE, below, height)
    if bars is not None:
        draw_bars(canvas, bars, place.x + SIDE, place.y + POSTAL_FROM_BELOW)


def _page(canvas: Canvas, packet: Packet, layout: Layout, place: Place) -> None:
    """One page that is folded behind a window: the address and the barcode in it, the number outside of it."""
    _number(canvas, packet, PAGE_MARGIN, letter[0] - PAGE_MARGIN, letter[1] - PAGE_MARGIN)
    bars = _postal(packet)
    height = layout.address_height(postal=bars is not None)
    below = place.y + layout.height - WINDOW_EDGE - height
    _address(canvas, packet, layout, place.x + SIDE, below, height)
    if bars is not None:
        draw_bars(canvas, bars, place.x + SIDE, place.y + WINDOW_EDGE)


def _number(canvas: Canvas, packet: Packet, left: float, right: float, top: float) -> None:
    """The ballot's number at the left, the same as Code 128 at the right, both hanging from `top`."""
    canvas.setFont(typeface().bold, NUMBER_SIZE)
    if packet.ballot_number is None:
        canvas.drawString(left, top - NUMBER_SIZE, f"Packet {packet.id}: no ballot")
        return
    canvas.drawString(left, top - NUMBER_SIZE, f"Ballot {packet.ballot_number}")
    code = Code128(packet.ballot_number, barWidth=CODE_WIDTH, barHeight=CODE_HEIGHT, quiet=0)
    draw_bars(canvas, code, right - code.width, top - CODE_HEIGHT)


def _address(canvas: Canvas, packet: Packet, layout: Layout, x: float, below: float, height: float) -> None:
    """The address, as large as it may be, in the middle of the room from `below` on upwards."""
    lines = [str(line) for line in packet.label or ()]
    size = size_for(lines, room=layout.line_width, height=height)
    line_height = size * LINE_SPACING
    baseline = below + (height + len(lines) * line_height) / 2 - size
    canvas.setFont(typeface().plain, size)
    for line in lines:
        canvas.drawString(x, baseline, line)
        baseline -= line_height


def _postal(packet: Packet) -> USPS_4State | None:
    """The postal barcode as it was frozen, checked again: nothing is drawn that was not."""
    if packet.tracking is None or packet.routing is None:
        return None
    postal_barcode.check(packet.tracking, packet.routing)
    bars = USPS_4State(packet.tracking, packet.routing)
    bars.widthSize = bars.heightSize = 0.5  # the middle of what the standard allows, for printers that scale a little
    return bars
