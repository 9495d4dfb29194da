"""Closing a mailing of thousands of packets and making all its papers, beside ReportLab drawing bare lines of text.

    python -m tests.benchmarks.closing_a_mailing [PACKETS]

On SQLite in a temporary folder. Prints seconds for each step, and how many times as long it takes to close the mailing
and make its four papers as to draw the same number of lines of text, bare, with the same library. Then reads back, out
of the labels, every line of every address (pdftotext) and every postal barcode (from what is drawn, and from pictures
of every twentieth sheet), and compares both with the record. Ends with 1 where anything differs.
"""

from __future__ import annotations

import random
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, date, datetime
from io import BytesIO
from pathlib import Path
from typing import TypeVar

from reportlab.lib.pagesizes import letter
from reportlab.pdfgen.canvas import Canvas
from sqlalchemy import insert, select

from replacements.mailings import closing, documents
from replacements.mailings.layout import POSTAL_ROOM, Layout
from replacements.rules.office import Rules, load_rules
from replacements.store.database import Database
from replacements.store.migrate import migrate
from replacements.store.tables import Ballot, Election, Mailing, Packet, VoterRow
from tests.published import postal_bars

ELECTION = "2026-11-03-general-election"
AT = datetime(2026, 10, 14, 18, 30, tzinfo=UTC)
STREETS = ("North Tidewater Lane", "Cattail Drive", "Ferry Square", "Marsh Road", "Heron's Rest Court", "4th Avenue")
NAMES = ("Wren", "Linh Thị", "Zoë", "Ottoline", "Joaquín", "Mei", "Percival", "Ines")
LAST = ("Halloway", "Nguyễn", "Brackwater", "Ashby", "O'Fallowmere", "Núñez-Weir", "Ferrisdale")
T = TypeVar("T")
EVERY = 20  # sheets, of which one is read back from its picture
DOTS = 200  # an inch


def _mailing(database: Database, rules: Rules, packets: int) -> int:
    """An open mailing with so many packets in twelve styles and forty precincts."""
    chance = random.Random(7)
    with database.write() as session:
        session.add(Election(id=ELECTION, name="General election", held_on=date(2026, 11, 3), created_at=AT))
        mailing = Mailing(election_id=ELECTION, goes_on=date(2026, 10, 14), state="open")
        session.add(mailing)
        session.flush()
        for number in range(packets):
            abroad = {"mail_street": f"Quay {number}", "mail_city": "Oxbow", "mail_country": "Ireland"}
            session.add(
                VoterRow(
                    voter_id=f"V-{number}", first_name=chance.choice(NAMES), last_name=chance.choice(LAST),
                    street=f"{number + 1} {chance.choice(STREETS)}",
                    city="Eelpoint", state="NC", zip=f"27998{number % 10_000:04d}" if number % 2 else "27998",
                    unit=f"Apt {number % 90}" if number % 3 == 0 else "",
                    precinct=f"{chance.randrange(40):02d}", style=f"{chance.randrange(12):02d}-A",
                    language=chance.choice(("en", "en", "en", "es", "vi")), id_required=chance.random() < 0.1,
                    overseas=number % 50 == 0, **(abroad if number % 50 == 0 else {}),
                )
            )  # fmt: skip
            session.add(
                Ballot(
                    number=f"80{number:05d}", election_id=ELECTION, voter_id=f"V-{number}", state="issued",
                    style=f"{number % 12:02d}-A",
                )
            )  # fmt: skip
        session.flush()
        contents = list(rules.mailing.contents)
        session.execute(
            insert(Packet),
            [
                {"mailing_id": mailing.id, "voter_id": f"V-{number}", "ballot_number": f"80{number:05d}",
                 "contents": contents, "state": "queued", "queued_at": AT, "printed": 0, "channel": "post"}
                for number in range(packets)
            ],
        )  # fmt: skip
        return mailing.id


def _timed(what: str, work: Callable[[], T]) -> tuple[float, T]:
    started = time.perf_counter()
    made = work()
    seconds = time.perf_counter() - started
    print(f"{what:28} {seconds:8.2f} s")
    return seconds, made


def _lines(pdf: bytes) -> list[str]:
    command = ["pdftotext", "-raw", "-", "-"]
    text = subprocess.run(command, input=pdf, capture_output=True, check=True).stdout.decode()
    return [line for line in text.replace("\f", "\n").splitlines() if line.strip()]


def _bare(lines: int) -> bytes:
    """So many lines of text on letter paper, sixty to a page, in one of the typefaces that every reader has."""
    file = BytesIO()
    canvas = Canvas(file, pagesize=letter)
    for number in range(lines):
        place = number % 60
        if number and not place:
            canvas.showPage()
        canvas.setFont("Helvetica", 9.5)
        canvas.drawString(50, 740 - place * 11.5, f"{number} NORTH TIDEWATER LN")
    canvas.save()
    return file.getvalue()


def _differing(labels: bytes, packets: list[Packet], layout: Layout) -> int:
    """How many packets' labels or barcodes are not, as printed, what the record says."""
    printed = "\n".join(["", *_lines(labels), ""])
    expected = [
        "\n".join(["", f"Ballot {packet.ballot_number}", *map(str, packet.label or []), ""]) for packet in packets
    ]
    wrong = sum(text not in printed for text in expected) + (printed.count("\nBallot ") != len(packets))
    print(f"{'addresses read back':28} {len(packets):8,}, differing {wrong}")
    drawn = [postal_bars.numbers(bars) for page in postal_bars.drawn_on(labels) for bars in page]
    record = [(packet.tracking, packet.routing) for packet in packets if packet.tracking is not None]
    wrong_bars = len(set(drawn) ^ set(record)) + abs(len(drawn) - len(record))
    print(f"{'barcodes read back, drawn':28} {len(drawn):8,}, differing {wrong_bars}")
    seen = unread = 0
    by_sheet = [packets[start : start + layout.per_sheet] for start in range(0, len(packets), layout.per_sheet)]
    for sheet, on_it in list(enumerate(by_sheet, 1))[::EVERY]:
        black = postal_bars.picture(labels, sheet, DOTS)
        for number, packet in enumerate(on_it):
            if packet.tracking is None:
                continue
            place = layout.place(number)
            box = postal_bars.Rectangle(place.x + 4, place.y + 6, layout.width - 8, POSTAL_ROOM)
            seen += 1
            unread += postal_bars.numbers(postal_bars.seen_in(black, box, DOTS)) != (packet.tracking, packet.routing)
    print(f"{'barcodes read back, seen':28} {seen:8,}, differing {unread}")
    return wrong + wrong_bars + unread


def main(packets: int = 5_000) -> int:
    rules = load_rules(Path(__file__).parent.parent / "rules" / "saltgrass.toml")
    with tempfile.TemporaryDirectory() as folder:
        database = Database(str(Path(folder) / "office.sqlite3"))
        migrate(database)
        mailing_id = _mailing(database, rules, packets)

        def close() -> None:
            with database.write() as session:
                closing.close(session, mailing_id, rules=rules, by="schedule", at=AT)

        whole, _ = _timed(f"closing {packets:,} packets", close)
        papers: dict[str, bytes] = {}
        for name in ("labels", "pick_list", "checklist", "manifest"):
            with database.read() as session:
                make = getattr(documents, f"{name}_pdf")
                seconds, papers[name] = _timed(name.replace("_", " "), lambda: make(session, mailing_id, rules))  # noqa: B023
                whole += seconds
        lines = sum(len(_lines(paper)) for paper in papers.values())
        print(f"{'all of it':28} {whole:8.2f} s")
        bare, _ = _timed(f"{lines:,} bare lines", lambda: _bare(lines))
        print(f"{'ratio':28} {whole / bare:8.1f}")
        with database.read() as session:
            order = {line["packet"]: place for place, line in enumerate(documents._sorted_lines(
                session.get_one(Mailing, mailing_id), channel="post"))}  # fmt: skip
            found = sorted(session.scalars(select(Packet)), key=lambda packet: order[packet.id])
            differing = _differing(papers["labels"], found, Layout.of(rules))
        database.close()
    return 1 if differing else 0


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:2])))
