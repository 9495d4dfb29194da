"""The week on letter paper: what matters first, then pictures, each with its table. Text can be searched and copied."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import astuple, fields
from datetime import date
from io import BytesIO
from typing import Any, TypeVar

from reportlab.lib import colors
from reportlab.lib.enums import TA_RIGHT
from reportlab.lib.pagesizes import letter
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import inch
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import CondPageBreak, Flowable, Paragraph, SimpleDocTemplate, Spacer, Table, TableStyle

from replacements.summary import chart, multiples
from replacements.summary.compared import parts
from replacements.summary.figures import Columns, Followed, Rate, Week, Where
from replacements.summary.picture_on_paper import Picture
from replacements.summary.text import sentences, to_look_at
from replacements.summary.typefaces import BOLD, PLAIN, marked_up, shortfalls, typefaces, width
from replacements.words import change, with_capital, word

MARGIN = 0.75 * inch
WIDTH = letter[0] - 2 * MARGIN
LINE = colors.HexColor("#888888")
HEAD, CELL = 8, 8.5  # points, of a table's letters
PADDING, NARROW, WIDEST = (
    14,
    7,
    1.5 * inch,
)  # of a column: clear at both sides together, also where there are many; the widest but the first
MANY = 8  # columns
MOST_LINES = 60  # of a table about styles, precincts or what waits; the rest is in the files
_COLUMNS = ("requested", "issued", "received", "counted", "rejected", "pending")
Cells = Sequence[Sequence[object]]
T = TypeVar("T")


class _Heading(Paragraph):
    """A heading, and the bookmark that leads to it."""

    def __init__(self, text: str, style: ParagraphStyle) -> None:
        super().__init__(marked_up(text, BOLD), style)
        self.bookmark = text


class _Document(SimpleDocTemplate):
    """Puts a bookmark at each heading."""

    def afterFlowable(self, flowable: Flowable) -> None:
        if isinstance(flowable, _Heading):
            self._headings = getattr(self, "_headings", 0) + 1
            key = f"heading-{self._headings}"
            self.canv.bookmarkPage(key)
            self.canv.addOutlineEntry(flowable.bookmark, key, level=0)


def week_pdf(week: Week, office_name: str, *, overriding: bool) -> bytes:
    """The document. `overriding`: with what is about members of staff, for supervisors alone. The same week gives the
    same bytes."""
    typefaces()
    file = BytesIO()
    title = f"Replacement ballots, {_day(week.first)} to {_day(week.last)}"
    document = _Document(
        file,
        pagesize=letter,
        leftMargin=MARGIN,
        rightMargin=MARGIN,
        topMargin=0.95 * inch,
        bottomMargin=0.75 * inch,
        title=title,
        author=office_name,
        subject="Weekly summary",
        lang="en",
        initialFontName=PLAIN,
        invariant=1,
    )

    def frame(canvas: Canvas, _document: Any) -> None:
        canvas.saveState()
        canvas.setFont(PLAIN, 8)
        canvas.drawString(MARGIN, letter[1] - 0.55 * inch, title)
        canvas.drawRightString(letter[0] - MARGIN, 0.45 * inch, f"Page {canvas.getPageNumber()}")
        canvas.drawString(MARGIN, 0.45 * inch, f"Election {week.election_id}")
        canvas.restoreState()

    document.build(_story(week, office_name, overriding), onFirstPage=frame, onLaterPages=frame)
    return file.getvalue()


def _story(week: Week, office_name: str, overriding: bool) -> list[Flowable]:
    story: list[Flowable] = [_paragraph(office_name, 11)]
    story += [_paragraph(line, 8) for line in shortfalls(_names(week, office_name))]
    story += [_heading("The week in three sentences", 16)]
    story += [_paragraph(sentence, 10.5) for sentence in sentences(week)]
    looks = to_look_at(week)
    if looks:
        story += [_heading("Please look at"), *(_paragraph(f"– {line}") for line in looks)]
    story += [_heading("Beside other weeks"), _compared(week)]
    story += [Picture(multiples.kinds(week), WIDTH), _key(week), *_changes(week)]
    story += [_heading("Requests per day"), Picture(chart.requests_per_day(week), WIDTH * 0.8)]
    story += [
        _heading("Reissues per thousand ballots out"),
        Picture(chart.reissue_rate(week), WIDTH * 0.8),
        _days(week),
    ]
    story += [_heading("Ballots, as a reconciliation report counts them"), _books(week)]
    story += [*_over_pages(f"Reconciliation at the end of {_day(week.last)}"), *_where(week)]
    story += [_heading("Voided ballots, by reason"), _voids(week)]
    story += [_heading("From request to mailing"), _speed(week)]
    story += [_heading("Spoiled ballots by style"), *_rates("styles", week.styles)]
    story += [_heading("Replaced ballots by precinct"), *_rates("precincts", week.precincts)]
    story += [_heading("By kind, reason and language"), *_shares(week)]
    story += [_heading("What people made of the proposals"), _followed(week.machine.followed)]
    story += [_heading("Decided otherwise than proposed"), _otherwise(week)]
    if week.machine.bins:
        story.append(_heading("Do the probabilities keep their word?"))
    for what, title in (("who", "How sure of the voter"), ("kind", "How sure of what is asked")):
        bins = [one for one in week.machine.bins if one.what == what]
        if bins:
            story += [_paragraph(f"{title}: off by {week.machine.off[what]:.3f} on average."), Spacer(1, 4)]
            story.append(Picture(multiples.probabilities(bins), WIDTH * 0.7))
            rows = [(f"{b.claimed:.2f}", b.claims, b.right, f"{b.low:.2f} to {b.high:.2f}") for b in bins]
            story += [_table(("Claimed", "Claims", "Came true", "95 % interval"), rows), Spacer(1, 6)]
    if overriding and week.unusual.overriding:
        story += [_heading("Decided otherwise than proposed, by member of staff"), *_overriding(week)]
    story += [_heading("Declined"), *_declined(week)]
    story += [*_over_pages("Still waiting"), *_waiting(week)]
    return story


def _names(week: Week, office_name: str) -> Iterator[str]:
    """Everything in the document that is not the program's own English."""
    yield office_name
    yield week.election_id
    yield from (rate.name for rate in (*week.styles, *week.precincts, *week.unusual.undeliverable))
    yield from (one.what for one in week.others)
    yield from week.where
    for named in (week.reissues_by_style, *(part for one in week.others for part in (one.by_style, one.by_precinct))):
        yield from named or ()
    yield from (one.account for one in week.unusual.overriding)


def _heading(text: str, size: float = 12.5, *, kept: bool = True) -> Flowable:
    """`kept`: on one page with the whole of what follows."""
    style = ParagraphStyle(
        "heading", fontName=BOLD, fontSize=size, leading=size * 1.25, spaceBefore=10, spaceAfter=4, keepWithNext=kept
    )
    return _Heading(text, style)


def _over_pages(text: str) -> list[Flowable]:
    """A heading with a few rows of what follows: a table that may be longer than what is left of a page."""
    return [CondPageBreak(1.5 * inch), _heading(text, kept=False)]


def _paragraph(text: str, size: float = 9.5, *, right: bool = False, bold: bool = False) -> Paragraph:
    face = BOLD if bold else PLAIN
    style = ParagraphStyle(
        "text", fontName=face, fontSize=size, leading=size * 1.35, spaceAfter=2, alignment=TA_RIGHT if right else 0
    )
    return Paragraph(marked_up(text, face), style)


def _table(headings: Sequence[str], rows: Cells, none: str = "") -> Flowable:
    """A ruled table; its first column takes what is left, the others are as wide as what stands in them. `none`: what
    to say where there is no row."""
    if not rows:
        return _paragraph(none)
    cells = [["" if cell is None else str(cell) for cell in row] for row in rows[:MOST_LINES]]
    clear = PADDING if len(headings) <= MANY else NARROW
    widths = [
        min(clear + max(width(heading, HEAD, BOLD), *(width(cell, CELL) for cell in column)), WIDEST)
        for heading, *column in list(zip(headings, *cells, strict=True))[1:]
    ]
    widths.insert(0, WIDTH - sum(widths))
    shown = [[_paragraph(text, HEAD, right=n > 0, bold=True) for n, text in enumerate(headings)]]
    shown += [[_paragraph(cell, CELL, right=n > 0) for n, cell in enumerate(row)] for row in cells]
    table = Table(shown, colWidths=widths, repeatRows=1, hAlign="LEFT")
    table.setStyle(
        TableStyle(
            [
                ("FONTNAME", (0, 0), (-1, -1), PLAIN),  # or ReportLab names one that it does not embed
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("LEFTPADDING", (0, 0), (-1, -1), clear * 0.4),
                ("RIGHTPADDING", (0, 0), (-1, -1), clear * 0.4),
                ("TOPPADDING", (0, 0), (-1, -1), 1),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
                ("LINEBELOW", (0, 0), (-1, 0), 0.8, colors.black),
                ("LINEBELOW", (0, 1), (-1, -1), 0.3, LINE),
            ]
        )
    )
    return table


def _compared(week: Week) -> Flowable:
    rows: list[tuple[object, ...]] = [
        (_stretch(week.first, week.last), week.requests, week.reissues, week.speed.mailed, week.speed.kept)
    ]
    for one in week.others:
        rows.append((f"{one.what}: {_stretch(one.first, one.last)}", one.requests, one.reissues, one.mailed, one.kept))
        rows.append(
            ("change since", change(week.requests - one.requests), change(week.reissues - one.reissues), "", "")
        )
    return _table(("Days", "Requests", "Reissues", "Mailed", "In time"), rows)


def _changes(week: Week) -> Iterator[Flowable]:
    """Every part of the week in these days and in the others: A, B and C as in the picture."""
    for part in parts(week).values():
        cells = []
        for name, now, thens in part.rows:
            cells.append([part.called(name), now])
            for then in thens:
                cells[-1] += ["–", "–"] if then is None else [then, change(now - then)]
        headings = [part.title, "A"]
        for place, _ in zip("BC", week.others, strict=False):
            headings += [place, f"A less {place}"]
        yield _table(headings, cells, f"{part.title}: none.")
        yield from _more(cells)
        yield Spacer(1, 6)


def _key(week: Week) -> Flowable:
    names = ["these days", *(one.what for one in week.others)]
    return _paragraph("; ".join(f"{letter}: {name}" for letter, name in zip("ABC", names, strict=False)) + ".", 8)


def _days(week: Week) -> Flowable:
    rows = []
    for day in week.days:
        rate = day.rate
        limits = f"{rate.lower:.2f} to {rate.upper:.2f}{' !' if rate.outside else ''}" if rate else "–"
        value = f"{rate.value:.2f}" if rate else "–"
        rows.append((f"{day.day:%a} {_day(day.day)}", day.requests, day.reissues, day.out, value, limits))
    return _table(("Day", "Requests", "Reissued", "Out", "Per thousand", "Limits"), rows)


def _books(week: Week) -> Flowable:
    rows: list[tuple[object, ...]] = []
    named = {"Replacements": (week.this_week, week.to_date)}
    named |= {
        title: week.books[name]
        for name, title in (("all", "All ballots"), ("overseas", "Ballots of voters overseas"))
        if name in week.books
    }
    for title, pair in named.items():
        for period, columns in zip(("these days", "to date"), pair, strict=True):
            rows.append((f"{title}, {period}", *_five(columns)))
    return _table(("", *(name.capitalize() for name in _COLUMNS)), rows)


def _five(columns: Columns) -> list[object]:
    return ["–" if getattr(columns, name) is None else getattr(columns, name) for name in _COLUMNS]


def _where(week: Week) -> list[Flowable]:
    named = [*week.where.items(), ("All", week.where_in_all)] if week.where else []
    rows = [(style, *astuple(where), "yes" if where.adds_up else "NO") for style, where in _with_the_last(named)]
    headings = ("Style", *(one.name.capitalize() for one in fields(Where)), "Adds up")
    return [_table(headings, rows, "No ballot was issued yet."), *_more(named)]


def _with_the_last(rows: Sequence[T]) -> Sequence[T]:
    """As many as a table holds, the last among them: it is of all together."""
    return rows if len(rows) <= MOST_LINES else [*rows[: MOST_LINES - 1], rows[-1]]


def _more(rows: Sequence[object]) -> list[Flowable]:
    return [_paragraph(f"and {len(rows) - MOST_LINES} more, in the files.")] if len(rows) > MOST_LINES else []


def _voids(week: Week) -> Flowable:
    rows = [(with_capital(word(reason, "cause")), count) for reason, count in week.voided_by_reason.items()]
    return _table(("Reason", "Ballots"), rows, "No ballot was voided.")


def _otherwise(week: Week) -> Flowable:
    rows = [
        (f"{word(proposed, 'action_short')} → {word(decided, 'action_short').lower()}", count)
        for (proposed, decided), count in week.overrides.items()
    ]
    none = "Every decision was as proposed." if week.decisions else "No request was decided."
    return _table(("Proposed → decided", "Requests"), rows, none)


def _declined(week: Week) -> list[Flowable]:
    """What was proposed and how it ended, with the requests. What clerks wrote stays on the requests' pages."""
    found: dict[str, list[str]] = {}
    for one in week.declined:
        said = f"{word(one.proposal, 'action_short')} was proposed; {word(one.decision, 'action_short').lower()}"
        found.setdefault(said, []).append(str(one.request))
    if not found:
        return [_paragraph("No request was declined or withdrawn.")]
    lines = [_paragraph(f"{said}: {len(numbers)} (request {', '.join(numbers)})") for said, numbers in found.items()]
    return [*lines, _paragraph("Why stands on the page of each request, in the words of who decided.", 8)]


def _speed(week: Week) -> Flowable:
    speed = week.speed
    rows: list[tuple[object, ...]] = [("Packets mailed", speed.mailed), ("By the next business day", speed.kept)]
    if speed.interval:
        rows.append(("Share in time, 95 % interval", f"{speed.interval[0]:.3f} to {speed.interval[1]:.3f}"))
    if speed.business:
        names = ("Median", "90th percentile", "95th percentile")
        rows += [(f"{name}, business hours", f"{hours:.1f}") for name, hours in zip(names, speed.business, strict=True)]
    rows.append(("Past the promised day and not mailed", len(speed.overdue)))
    return _table(("", ""), rows)


def _rates(name: str, rates: Sequence[Rate]) -> list[Flowable]:
    rows = []
    for rate in rates:
        point = rate.point
        numbers = (f"{point.value:.2f}", f"{point.lower:.2f} to {point.upper:.2f}") if point else ("–", "–")
        note = "outside" if rate.outside else "few" if rate.few else ""
        rows.append((rate.name, rate.out, rate.events, *numbers, note))
    headings = ("Name", "Out", "Count", "Per thousand", "Limits", "Note")
    if not rows:
        return [_paragraph("No ballot was out in these days, and none was replaced.")]
    return [Picture(multiples.rates(name, name, rates[:20]), WIDTH * 0.9), _table(headings, rows), *_more(rows)]


def _shares(week: Week) -> Iterator[Flowable]:
    for title, group, shares, none in (
        ("Requests by kind", "kind", week.kinds, "No request came in."),
        ("Reissued by reason", "cause", week.causes, "No ballot was reissued."),
        ("Requests by language", "language", week.languages, ""),
    ):
        rows = []
        for one in shares:
            share = f"{one.count / one.size:.1%}" if one.size else "–"
            interval = f"{one.low:.1%} to {one.high:.1%}" + (" few" if one.few else "")
            rows.append((with_capital(word(one.name, group)), one.count, share, interval))
        yield _table((title, "Count", "Share", "95 % interval"), rows, none)
        yield Spacer(1, 6)


def _followed(rows: Sequence[Followed]) -> Flowable:
    cells = [
        (f"{word(one.kind, 'kind')}, {word(one.standing, 'standing').lower()}", one.accepted, one.changed, one.refused)
        for one in rows
    ]
    none = "No member of staff decided a request."
    return _table(("Kind and standing", "Accepted", "Changed", "Refused"), cells, none)


def _overriding(week: Week) -> list[Flowable]:
    rows = [
        (o.account, o.decided, o.otherwise, f"{o.share.value:.3f}", f"{o.share.lower:.3f} to {o.share.upper:.3f}")
        for o in week.unusual.overriding
    ]
    fair = (
        "More often than chance explains, beside all who decide. Who is given the hard cases decides otherwise more "
        "often: a reason to look together, not a judgement."
    )
    return [_paragraph(fair), _table(("Account", "Decided", "Otherwise", "Share", "Limits"), rows)]


def _waiting(week: Week) -> list[Flowable]:
    rows = [
        (f"Request {one.request}, {word(one.proposal, 'action_short').lower()}", f"{one.hours:.0f}")
        for one in week.waiting
    ]
    return [_table(("", "Hours"), rows, "No request waits for a decision."), *_more(rows)]


def _stretch(first: date, last: date) -> str:
    return f"{_day(first)} to {_day(last)}"


def _day(day: date) -> str:
    return f"{day:%B} {day.day}, {day.year}"
