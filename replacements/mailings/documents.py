"""What the mail room prints for a closed mailing: labels, pick list, packet checklist, manifest. All PDF, letter paper.

Everything comes from what was frozen when the mailing closed, so that a second print is the same as the first. Only the
labels carry names and addresses.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from io import BytesIO
from itertools import groupby
from typing import Any

from reportlab.lib.pagesizes import letter
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, KeepTogether, Spacer, Table, TableStyle
from sqlalchemy import select
from sqlalchemy.orm import Session

from replacements.ballots.life import NotPossible
from replacements.mailings import label_sheet
from replacements.mailings.checklist import Checklist
from replacements.mailings.layout import Layout
from replacements.mailings.paper import Box, Heading, bold, clock, flowing, head, moment, plain, right, ruled, section
from replacements.mailings.printing_again import Again, printed_again
from replacements.mailings.queue import packets_of
from replacements.mailings.signing import valid_signatures
from replacements.rules.calendar import local
from replacements.rules.office import Rules
from replacements.store.tables import Mailing, Signature

IN_A_ROW = 50  # ballot numbers


def labels_pdf(session: Session, mailing_id: int, rules: Rules, *, packets: Collection[int] | None = None) -> bytes:
    """The labels of a mailing, sorted by style and ballot number like the other lists; or only those of some packets.

    That they are printed is recorded by `printing_again`, with who asked for it. Raises NotPossible where the mailing
    is not closed yet.
    """
    mailing = _closed(session, mailing_id)
    order = {line["packet"]: place for place, line in enumerate(_sorted_lines(mailing, channel="post"))}
    found = [packet for packet in packets_of(session, mailing.id, "frozen", "mailed") if packet.id in order]
    chosen = [packet for packet in found if packets is None or packet.id in packets]
    chosen.sort(key=lambda packet: order[packet.id])
    layout = Layout.frozen((mailing.manifest or {}).get("layout"), rules)
    return label_sheet.draw(chosen, layout, title=f"Labels {mailing.goes_on}")


def on_sheet(session: Session, mailing_id: int, rules: Rules, number: int) -> list[int]:
    """The packets whose labels are on one sheet of a mailing, the first sheet being 1; empty: there is no such."""
    mailing = _closed(session, mailing_id)
    layout = Layout.frozen((mailing.manifest or {}).get("layout"), rules)
    ids = [line["packet"] for line in _sorted_lines(mailing, channel="post")]
    return ids[(number - 1) * layout.per_sheet : number * layout.per_sheet] if number > 0 else []


def pick_list_pdf(session: Session, mailing_id: int, rules: Rules) -> bytes:
    """How many ballots to take from which stack: by style and precinct, with their numbers."""
    mailing = _closed(session, mailing_id)
    ballots = [line for line in _sorted_lines(mailing, channel="post") if line["ballot"] is not None]
    rows: list[list[Any]] = [[*head("", "Style", "Precinct"), right("Ballots", bold=True), bold("Ballot numbers")]]
    shaded: list[int] = []
    for style, of_style in groupby(ballots, key=lambda line: str(line["style"])):
        lines = list(of_style)
        shaded.append(len(rows))
        rows.append([Box(), bold(style), "", right(str(len(lines)), bold=True), ""])
        for precinct, of_precinct in groupby(lines, key=lambda line: str(line["precinct"])):
            numbers = [str(line["ballot"]) for line in of_precinct]
            for start in range(0, len(numbers), IN_A_ROW):  # a row must fit on a page
                cells = ["", ""] if start else [plain(precinct or "–"), right(str(len(numbers)))]
                rows.append(["", "", *cells, plain(", ".join(numbers[start : start + IN_A_ROW]))])
    rows.append(["", bold("Total"), "", right(str(len(ballots)), bold=True), ""])
    table = ruled(rows, [0.3, 1.1, 1.0, 0.8, None], shaded=shaded)
    return flowing("Pick list", mailing, rules, [table])


def checklist_pdf(session: Session, mailing_id: int, rules: Rules) -> bytes:
    """Packet by packet: what goes in, each with a box to tick, and first what differs from the rest. Last, apart, what
    the office's electronic channel sends."""
    mailing = _closed(session, mailing_id)
    file = BytesIO()
    canvas = Canvas(file, pagesize=letter, invariant=1)
    canvas.setTitle(f"Packet checklist {mailing.goes_on}")
    written = Checklist(canvas, Heading("Packet checklist", mailing, rules))
    lines = _sorted_lines(mailing)
    posted = [line for line in lines if line.get("channel", "post") == "post"]
    for line in posted:
        written.packet(line, rules)
    if not posted:
        written.title("This mailing has no packets.")
    if len(lines) > len(posted):
        written.title("Not by post: sent through the office's electronic channel")
        for line in lines:
            if line.get("channel", "post") != "post":
                written.sent(line, rules)
    canvas.save()
    return file.getvalue()


def manifest_pdf(session: Session, mailing_id: int, rules: Rules) -> bytes:
    """The counts that two people check and sign, the ballot numbers, what stays out, and the manifest's SHA-256."""
    mailing = _closed(session, mailing_id)
    manifest = mailing.manifest or {}
    counts: list[list[Any]] = [[bold("Ballot style"), right("Ballots", bold=True)]]
    counts += [[plain(style), right(str(number))] for style, number in manifest["by_style"].items()]
    shaded = [len(counts), len(counts) + 2]
    counts += [
        [bold("Ballots in all"), right(str(manifest["ballots"]), bold=True)],
        [plain("Packets without a ballot"), right(str(manifest["materials"]))],
        [bold("Packets to count"), right(str(manifest["total"]), bold=True)],
    ]
    if manifest.get("electronic"):
        counts.append([plain("Not by post: ballots to send electronically"), right(str(manifest["electronic"]))])
    story: list[Flowable] = [ruled(counts, [3.4, 1.2], shaded=shaded), Spacer(1, 10)]
    sent = {line["ballot"] for line in manifest["lines"] if line.get("channel", "post") != "post"}
    story += section("Ballot numbers", ", ".join(n for n in manifest["numbers"] if n not in sent) or "none")
    story += section("Ballots to send electronically", *([", ".join(sorted(sent))] if sent else []))
    story += section(
        "Not in this mailing", *(_out(line["packet"], line["ballot"], line["fault"]) for line in manifest["left_out"])
    )
    story += section(
        "Taken out after closing",
        *(
            _out(line["packet"], line["ballot"], f"{line['reason']} ({line['by']}, {moment(rules, line['at'])})")
            for line in manifest["taken_out"]
        ),
    )
    again = printed_again(session, mailing)
    story += section("Labels printed again", *(_out(one.packet, one.ballot, _why(rules, one)) for one in again))
    valid = [signature.id for signature in valid_signatures(session, mailing)]
    signed = session.scalars(select(Signature).where(Signature.mailing_id == mailing.id).order_by(Signature.id)).all()
    story += section(
        "Signed before a packet was taken out; no longer valid",
        *(f"{made.account}, {clock(local(rules, made.at))}" for made in signed if made.id not in valid),
    )
    counting = [made for made in signed if made.id in valid]
    story.append(KeepTogether([*section("Signatures"), _signatures(counting, manifest, rules)]))
    story += [Spacer(1, 10), plain(f"SHA-256 of this manifest: {manifest['sha256']}", small=True)]
    return flowing("Manifest", mailing, rules, story)


def _why(rules: Rules, again: Again) -> str:
    return f"{again.reason} ({again.by}, {clock(local(rules, again.at))})"


def _signatures(signed: Sequence[Signature], manifest: Mapping[str, Any], rules: Rules) -> Table:
    """Two rows, filled where somebody has signed and to be filled by hand where not."""
    electronic = bool(manifest.get("electronic"))
    titles = ["", "Picked", "Labelled", "Sealed", *(["Sent"] if electronic else []), "Name", "Date and time"]
    rows: list[list[Any]] = [head(*titles)]
    for place, person in enumerate(("First person", "Second person")):
        cells = [""] * (len(titles) - 1)
        if place < len(signed):
            made = signed[place]
            counts = [made.picked, made.labelled, made.sealed, *([made.electronic] if electronic else [])]
            numbers = ["–" if count is None else str(count) for count in counts]
            cells = [*numbers, made.account, clock(local(rules, made.at))]
        rows.append([plain(person), *(plain(cell) for cell in cells)])
    widths = [1.2, 0.75, 0.8, 0.75, *([0.7] if electronic else []), 1.4, None]
    table = ruled(rows, widths)
    table.setStyle(TableStyle([("BOTTOMPADDING", (0, 1), (-1, -1), 14), ("TOPPADDING", (0, 1), (-1, -1), 8)]))
    return table


def _closed(session: Session, mailing_id: int) -> Mailing:
    mailing = session.get(Mailing, mailing_id, populate_existing=True)
    if mailing is None:
        raise NotPossible(f"There is no mailing {mailing_id}.")
    if mailing.manifest is None:
        raise NotPossible("This mailing is still open. What is printed comes from a closed one.")
    return mailing


def _sorted_lines(mailing: Mailing, *, channel: str = "") -> list[dict[str, Any]]:
    """The frozen packets (of one channel, or all) in the order of all lists: style, precinct, number; those without a
    ballot last."""
    lines: list[dict[str, Any]] = [
        line for line in (mailing.manifest or {})["lines"] if channel in ("", line.get("channel", "post"))
    ]
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


def _out(packet: int, ballot: str | None, why: str) -> str:
    return f"{f'Ballot {ballot}' if ballot is not None else f'Packet {packet} (no ballot)'}: {why}"
