"""What the mail room prints for a closed mailing: labels, pick list, packet checklist, manifest. All PDF, letter paper.

Everything comes from what was frozen when the mailing closed, so that a second print is the same as the first. Only the
labels carry names and addresses.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from datetime import date, datetime
from io import BytesIO
from itertools import groupby
from typing import Any
from xml.sax.saxutils import escape

from reportlab.lib import colors
from reportlab.lib.enums import TA_RIGHT
from reportlab.lib.pagesizes import letter
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import inch
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, KeepTogether, Paragraph, SimpleDocTemplate, Spacer, Table, TableStyle
from sqlalchemy import select
from sqlalchemy.orm import Session

from replacements.ballots.life import NotPossible
from replacements.mailings import label_sheet
from replacements.mailings.lettering import printable, typeface
from replacements.mailings.queue import packets_of
from replacements.rules.calendar import local
from replacements.rules.office import Rules
from replacements.store.tables import Mailing, Signature

MARGIN = 0.7 * inch
WIDTH = letter[0] - 2 * MARGIN
BOX = 9.0  # points, the side of a box to tick
PALE = colors.HexColor("#eeeeee")
LINE = colors.HexColor("#999999")
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


def labels_pdf(session: Session, mailing_id: int, rules: Rules, *, packets: Collection[int] | None = None) -> bytes:
    """The labels of a mailing, sorted by style and ballot number like the other lists; or only those of some packets.

    A print of the whole mailing is counted on its packets. Of some packets it is not: `signing.reprint` counts and
    records that, with who asked for it. Raises NotPossible where the mailing is not closed yet.
    """
    mailing = _closed(session, mailing_id)
    order = {line["packet"]: place for place, line in enumerate(_sorted_lines(mailing))}
    found = [packet for packet in packets_of(session, mailing.id, "frozen", "mailed") if packet.id in order]
    chosen = [packet for packet in found if packets is None or packet.id in packets]
    chosen.sort(key=lambda packet: order[packet.id])
    if packets is None:
        for packet in chosen:
            packet.printed += 1
    return label_sheet.draw(chosen, rules, title=f"Labels {mailing.goes_on}")


def pick_list_pdf(session: Session, mailing_id: int, rules: Rules) -> bytes:
    """How many ballots to take from which stack: by style and precinct, with their numbers."""
    mailing = _closed(session, mailing_id)
    ballots = [line for line in _sorted_lines(mailing) if line["ballot"] is not None]
    rows: list[list[Any]] = [[*_head("", "Style", "Precinct"), _right("Ballots", bold=True), _bold("Ballot numbers")]]
    shaded: list[int] = []
    for style, of_style in groupby(ballots, key=lambda line: str(line["style"])):
        lines = list(of_style)
        shaded.append(len(rows))
        rows.append([_Box(), _bold(style), "", _right(str(len(lines)), bold=True), ""])
        for precinct, of_precinct in groupby(lines, key=lambda line: str(line["precinct"])):
            numbers = [str(line["ballot"]) for line in of_precinct]
            rows.append(["", "", _text(precinct or "–"), _right(str(len(numbers))), _text(", ".join(numbers))])
    rows.append(["", _bold("Total"), "", _right(str(len(ballots)), bold=True), ""])
    table = _table(rows, [0.3, 1.1, 1.0, 0.8, None], shaded=shaded)
    return _document("Pick list", mailing, rules, [table])


def checklist_pdf(session: Session, mailing_id: int, rules: Rules) -> bytes:
    """Packet by packet: what goes in, each with a box to tick, and first what differs from the rest."""
    mailing = _closed(session, mailing_id)
    story: list[Flowable] = []
    for line in _sorted_lines(mailing):
        title = f"Ballot {line['ballot']}" if line["ballot"] is not None else f"Packet {line['packet']}: no ballot"
        style = f"Style {line['style']}" if line["ballot"] is not None and line["style"] else ""
        differs = "; ".join(_differences(line))
        head = Table(
            [[_bold(title), _text(style), _bold(differs)]], colWidths=[2.0 * inch, 1.3 * inch, WIDTH - 3.3 * inch]
        )
        head.setStyle(TableStyle([("BACKGROUND", (0, 0), (-1, -1), PALE), ("VALIGN", (0, 0), (-1, -1), "TOP")]))
        items = [str(item) for item in line["contents"]]
        half = (len(items) + 1) // 2
        cells = [
            [_Box(), _text(items[row]), *([_Box(), _text(items[row + half])] if row + half < len(items) else ["", ""])]
            for row in range(half)
        ]
        parts: list[Flowable] = [head]
        if cells:
            column = WIDTH / 2 - 0.3 * inch
            body = Table(cells, colWidths=[0.3 * inch, column, 0.3 * inch, column])
            body.setStyle(TableStyle([("VALIGN", (0, 0), (-1, -1), "TOP"), ("BOTTOMPADDING", (0, 0), (-1, -1), 1)]))
            parts.append(body)
        story.append(KeepTogether([*parts, Spacer(1, 8)]))
    return _document("Packet checklist", mailing, rules, story or [_text("This mailing has no packets.")])


def manifest_pdf(session: Session, mailing_id: int, rules: Rules) -> bytes:
    """The counts that two people check and sign, the ballot numbers, what stays out, and the manifest's SHA-256."""
    mailing = _closed(session, mailing_id)
    manifest = mailing.manifest or {}
    counts: list[list[Any]] = [[_bold("Ballot style"), _right("Ballots", bold=True)]]
    counts += [[_text(style), _right(str(number))] for style, number in manifest["by_style"].items()]
    shaded = [len(counts), len(counts) + 2]
    counts += [
        [_bold("Ballots in all"), _right(str(manifest["ballots"]), bold=True)],
        [_text("Packets without a ballot"), _right(str(manifest["materials"]))],
        [_bold("Packets to count"), _right(str(manifest["total"]), bold=True)],
    ]
    story: list[Flowable] = [_table(counts, [2.6, 1.2], shaded=shaded), Spacer(1, 10)]
    story += _section("Ballot numbers", ", ".join(manifest["numbers"]) or "none")
    story += _section("Not in this mailing", *(_out(line, line["fault"]) for line in manifest["left_out"]))
    story += _section(
        "Taken out after closing",
        *(
            _out(line, f"{line['reason']} ({line['by']}, {_moment(rules, line['at'])})")
            for line in manifest["taken_out"]
        ),
    )
    signed = session.scalars(select(Signature).where(Signature.mailing_id == mailing.id).order_by(Signature.id)).all()
    story.append(KeepTogether([*_section("Signatures"), _signatures(signed, rules)]))
    story += [Spacer(1, 10), _text(f"SHA-256 of this manifest: {manifest['sha256']}", small=True)]
    return _document("Manifest", mailing, rules, story)


def _signatures(signed: Sequence[Signature], rules: Rules) -> Table:
    rows: list[list[Any]] = [_head("", "Packets counted", "Name", "Date and time")]
    for place in range(2):
        cells = ["", "", ""]
        if place < len(signed):
            made = signed[place]
            cells = [str(made.counted), made.account, _clock(local(rules, made.at))]
        rows.append([_text(("First person", "Second person")[place]), *(_text(cell) for cell in cells)])
    table = _table(rows, [1.3, 1.4, 2.4, None])
    table.setStyle(TableStyle([("BOTTOMPADDING", (0, 1), (-1, -1), 14), ("TOPPADDING", (0, 1), (-1, -1), 8)]))
    return table


def _closed(session: Session, mailing_id: int) -> Mailing:
    mailing = session.get(Mailing, mailing_id, populate_existing=True)
    if mailing is None:
        raise NotPossible(f"There is no mailing {mailing_id}.")
    if mailing.manifest is None:
        raise NotPossible("This mailing is still open. What is printed comes from a closed one.")
    return mailing


def _sorted_lines(mailing: Mailing) -> list[dict[str, Any]]:
    """The frozen packets in the order of all lists: style, precinct, number; those without a ballot last."""
    lines: list[dict[str, Any]] = list((mailing.manifest or {})["lines"])
    return sorted(
        lines,
        key=lambda line: (
            line["ballot"] is None,
            str(line["style"]),
            str(line["precinct"]),
            str(line["ballot"] or ""),
            line["packet"],
        ),
    )


def _differences(line: Mapping[str, Any]) -> list[str]:
    """What is not as in most packets, for whoever assembles this one."""
    found = []
    if line["id_required"]:
        found.append("Identification notice")
    if line["overseas"]:
        found.append("Overseas")
    language = str(line["language"] or "")
    if language not in ("", "en"):
        found.append(f"Language: {LANGUAGES.get(language, language)}")
    return found


def _out(line: Mapping[str, Any], why: str) -> str:
    what = f"Ballot {line['ballot']}" if line["ballot"] is not None else f"Packet {line['packet']} (no ballot)"
    return f"{what}: {why}"


# --- pages ---------------------------------------------------------------------------------------------------------


class _Box(Flowable):
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


def _text(text: str, *, small: bool = False) -> Paragraph:
    return Paragraph(escape(printable(text)), _style(size=7.5 if small else 9.5))


def _bold(text: str) -> Paragraph:
    return Paragraph(escape(printable(text)), _style(bold=True))


def _right(text: str, *, bold: bool = False) -> Paragraph:
    return Paragraph(escape(text), _style(bold=bold, right=True))


def _head(*texts: str) -> list[Any]:
    return [_bold(text) for text in texts]


def _section(title: str, *paragraphs: str) -> list[Flowable]:
    """A heading with its paragraphs; nothing where there are none (but a lone heading for what follows it)."""
    if not paragraphs and title != "Signatures":
        return []
    parts: list[Flowable] = [Spacer(1, 8), Paragraph(escape(title), _style(bold=True, size=11)), Spacer(1, 4)]
    return [*parts, *(_text(paragraph) for paragraph in paragraphs)]


def _table(rows: list[list[Any]], inches: Sequence[float | None], *, shaded: Sequence[int] = ()) -> Table:
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


def _document(title: str, mailing: Mailing, rules: Rules, story: Sequence[Flowable]) -> bytes:
    """A document with the office, the mailing's day and its manifest's hash at the head of every page."""
    face = typeface()
    sha256 = str((mailing.manifest or {}).get("sha256", ""))
    closed = f"closed {_clock(local(rules, mailing.closed_at))}" if mailing.closed_at else ""

    def frame(canvas: Canvas, document: Any) -> None:
        top = letter[1] - 0.55 * inch
        canvas.saveState()
        canvas.setFont(face.bold, 14)
        canvas.drawString(MARGIN, top, f"{title}: mailing of {_day(mailing.goes_on)}")
        canvas.setFont(face.plain, 8.5)
        canvas.drawString(MARGIN, top - 14, printable(f"{rules.office.name}; {rules.election.name}; {closed}"))
        canvas.setFont(face.plain, 7.5)
        canvas.drawString(MARGIN, 0.45 * inch, f"Manifest {sha256[:16]}")
        canvas.drawRightString(letter[0] - MARGIN, 0.45 * inch, f"Page {document.page}")
        canvas.restoreState()

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
    document.build(list(story), onFirstPage=frame, onLaterPages=frame)
    return file.getvalue()


def _day(day: date) -> str:
    return f"{day:%A}, {day:%B} {day.day}, {day.year}"


def _clock(at: datetime) -> str:
    return f"{at:%B} {at.day}, {at.year}, {at.hour % 12 or 12}:{at:%M} {'am' if at.hour < 12 else 'pm'}"


def _moment(rules: Rules, text: str) -> str:
    return _clock(local(rules, datetime.fromisoformat(text)))
