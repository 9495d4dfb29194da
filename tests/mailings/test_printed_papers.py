"""What is printed says what is on record, in text that can be read back out of the file."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from datetime import UTC, datetime
from io import BytesIO

import pytest
from pypdf import PdfReader

from replacements.ballots.life import NotPossible
from replacements.mailings import lettering
from replacements.mailings.closing import close
from replacements.mailings.documents import checklist_pdf, labels_pdf, manifest_pdf, pick_list_pdf
from replacements.mailings.layout import POSTAL_ROOM, Layout
from replacements.mailings.printing_again import reprint
from replacements.mailings.queue import pull
from replacements.mailings.signing import Counts, sign
from replacements.rules.office import Rules
from replacements.store.database import Database
from replacements.store.tables import Packet
from tests.published import postal_bars

CUT_OFF = datetime(2026, 10, 14, 18, 30, tzinfo=UTC)
Queue = Callable[..., Packet]


def pages(pdf: bytes) -> list[str]:
    return [page.extract_text() for page in PdfReader(BytesIO(pdf)).pages]


def text_of(pdf: bytes) -> str:
    return "\n".join(pages(pdf))


@pytest.fixture
def closed(office: Database, queue: Queue, rules: Rules) -> tuple[Database, int]:
    with office.write() as session:
        mailing_id = queue(session, "8000017", first_name="Linh", last_name="Nguyễn", unit="# 4").mailing_id
        queue(session, "8000025", style="07-B", precinct="01", id_required=True, language="es")
        queue(session, "8000033", style="07-B", precinct="02", overseas=True, zip="27998-0042")
        queue(session, None, last_name="Ashby")
        queue(session, "8000041", street="")
        close(session, mailing_id, rules=rules, by="schedule", at=CUT_OFF)
    return office, mailing_id


def test_the_text_of_the_labels_is_the_record(closed: tuple[Database, int], rules: Rules) -> None:
    office, mailing_id = closed
    with office.write() as session:
        printed = text_of(labels_pdf(session, mailing_id, rules)).splitlines()
        packets = session.query(Packet).filter(Packet.mailing_id == mailing_id).order_by(Packet.ballot_number).all()
        expected = []
        for packet in [p for p in packets if p.ballot_number] + [p for p in packets if not p.ballot_number]:
            head = f"Ballot {packet.ballot_number}" if packet.ballot_number else f"Packet {packet.id}: no ballot"
            expected += [head, *(packet.label or [])]
    assert [line.strip() for line in printed if line.strip()] == expected
    assert "LINH NGUYỄN" in printed or "LINH NGUYEN" in printed  # without accents where no typeface here has them


def test_ten_labels_go_on_a_sheet(office: Database, queue: Queue, rules: Rules) -> None:
    with office.write() as session:
        mailing_ids = {queue(session, f"80{number:05d}").mailing_id for number in range(11)}
        mailing_id = mailing_ids.pop()
        close(session, mailing_id, rules=rules, by="schedule", at=CUT_OFF)
        sheets = pages(labels_pdf(session, mailing_id, rules))
    assert [len(re.findall(r"Ballot 80\d{5}", sheet)) for sheet in sheets] == [10, 1]


def test_a_second_print_is_the_same(closed: tuple[Database, int], rules: Rules) -> None:
    office, mailing_id = closed
    with office.read() as session:
        first, second = labels_pdf(session, mailing_id, rules), labels_pdf(session, mailing_id, rules)
        packet = session.query(Packet).filter(Packet.ballot_number == "8000017").one()
        alone = text_of(labels_pdf(session, mailing_id, rules, packets=[packet.id]))
    assert first == second
    assert "8000017" in alone
    assert "8000025" not in alone


def test_a_print_after_the_rules_have_changed_is_the_same(closed: tuple[Database, int], rules: Rules) -> None:
    office, mailing_id = closed
    mailing = rules.mailing.model_copy(update={"labels": "window", "mailer_id": "654321", "service_type": ""})
    with office.read() as session:
        before = labels_pdf(session, mailing_id, rules)
        assert labels_pdf(session, mailing_id, rules.model_copy(update={"mailing": mailing})) == before


def test_the_postal_barcodes_on_the_labels_read_back_as_the_record_has_them(
    closed: tuple[Database, int], rules: Rules
) -> None:
    office, mailing_id = closed
    with office.read() as session:
        pdf = labels_pdf(session, mailing_id, rules)
        packets = session.query(Packet).filter(Packet.tracking.is_not(None)).order_by(Packet.ballot_number).all()
        record = [(packet.tracking, packet.routing) for packet in packets]
    assert len(record) == 3  # not on the materials alone
    assert record[2][1] == "279980042"
    assert [postal_bars.numbers(bars) for page in postal_bars.drawn_on(pdf) for bars in page] == record


@pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="pdftoppm is not installed")
def test_the_barcodes_of_a_printed_sheet_read_back_from_its_picture(closed: tuple[Database, int], rules: Rules) -> None:
    office, mailing_id = closed
    with office.read() as session:
        pdf = labels_pdf(session, mailing_id, rules)
        packets = session.query(Packet).filter(Packet.tracking.is_not(None)).order_by(Packet.ballot_number).all()
        record = [(packet.tracking, packet.routing) for packet in packets]
    black = postal_bars.picture(pdf, 1, 300)
    layout = Layout.of(rules)
    for number, expected in enumerate(record):
        place = layout.place(number)
        box = postal_bars.Rectangle(place.x + 4, place.y + 6, layout.width - 8, POSTAL_ROOM)
        assert postal_bars.numbers(postal_bars.seen_in(black, box, 300)) == expected


def test_behind_a_window_each_packet_has_a_page_with_its_address_where_the_window_is(
    office: Database, queue: Queue, rules: Rules
) -> None:
    window = rules.mailing.model_copy(update={"labels": "window"})
    by_window = rules.model_copy(update={"mailing": window})
    with office.write() as session:
        mailing_id = queue(session, "8000017", unit="Apt 4", zip="27998-0042").mailing_id
        queue(session, "8000025")
        close(session, mailing_id, rules=by_window, by="schedule", at=CUT_OFF)
        pdf = labels_pdf(session, mailing_id, rules)
        record = [(p.tracking, p.routing) for p in session.query(Packet).order_by(Packet.ballot_number)]
    reader = PdfReader(BytesIO(pdf))
    assert len(reader.pages) == 2
    assert [postal_bars.numbers(bars) for page in postal_bars.drawn_on(pdf) for bars in page] == record
    seen: list[tuple[str, float, float]] = []
    reader.pages[0].extract_text(
        visitor_text=lambda text, cm, tm, _font, _size: seen.append((text.strip(), tm[4] + cm[4], tm[5] + cm[5]))
    )
    left, top = rules.mailing.window.left * 72, 792 - rules.mailing.window.top * 72
    for line in ("WREN HALLOWAY", "12 TIDEWATER LN APT 4", "EELPOINT NC 27998-0042"):
        x, y = next((x, y) for text, x, y in seen if text == line)
        assert left < x < left + rules.mailing.window.width * 72
        assert top - rules.mailing.window.height * 72 < y < top - lettering.SMALLEST


def test_every_packet_of_one_stack_fits_on_the_pick_list(office: Database, queue: Queue, rules: Rules) -> None:
    """Numbers of one precinct that fill more than a page are carried over to the next."""
    with office.write() as session:
        mailing_id = queue(session, "8000017").mailing_id
        mailing = close(session, mailing_id, rules=rules, by="schedule", at=CUT_OFF)
        line = (mailing.manifest or {})["lines"][0]
        lines = [{**line, "ballot": f"{8_100_000 + number}", "packet": number} for number in range(2_000)]
        mailing.manifest = {**(mailing.manifest or {}), "lines": lines}
        session.flush()
        text = text_of(pick_list_pdf(session, mailing_id, rules))
    assert all(f"{8_100_000 + number}" in text for number in range(2_000))
    assert re.search(r"Total\s+2000", text)


def test_the_address_is_never_smaller_than_machines_can_read(rules: Rules) -> None:
    long_name = "W" * 20
    for lines in ([long_name] * 6, ["A"], ["MM MM MM MM MM MM MM MM MM"]):
        assert lettering.SMALLEST <= lettering.size_for(lines, room=259, height=60) <= lettering.LARGEST
    assert lettering.SMALLEST == 8


def test_the_pick_list_says_how_many_of_which_style_and_precinct(closed: tuple[Database, int], rules: Rules) -> None:
    office, mailing_id = closed
    with office.read() as session:
        text = text_of(pick_list_pdf(session, mailing_id, rules))
    assert re.search(r"07-A\s+1\s", text)
    assert re.search(r"07-B\s+2\s", text)
    assert re.search(r"02\s+1\s+8000033", text)
    assert re.search(r"Total\s+3", text)


def test_the_checklist_says_what_differs_from_packet_to_packet(closed: tuple[Database, int], rules: Rules) -> None:
    office, mailing_id = closed
    with office.read() as session:
        text = text_of(checklist_pdf(session, mailing_id, rules))
    head = text.index("Ballot 8000025")
    packet = text[head : text.index("Ballot 8000033")]
    assert "Identification notice; Language: Spanish" in packet
    assert "identification notice" in packet
    assert "Overseas: back by November 12" in text[text.index("Ballot 8000033") :]
    assert "ballot envelope" in text


def test_the_manifest_states_counts_numbers_what_stays_out_and_its_hash(
    closed: tuple[Database, int], rules: Rules
) -> None:
    office, mailing_id = closed
    with office.write() as session:
        gone = session.query(Packet).filter(Packet.ballot_number == "8000025").one()
        pull(session, gone.id, by="mara", at=CUT_OFF, reason="envelope torn")
        sign(session, mailing_id, account="mara", counts=Counts(2, 3, 3), at=CUT_OFF)
        text = text_of(manifest_pdf(session, mailing_id, rules))
    assert re.search(r"Packets to count\s+3", text)
    assert "8000017, 8000033" in text
    assert "Ballot 8000041: the address has no street" in text
    assert "Ballot 8000025: envelope torn (mara, October 14, 2026, 2:30 pm)" in text
    assert re.search(r"[0-9a-f]{64}", text)
    assert "Second person" in text
    assert re.search(r"First person\s+2\s+3\s+3\s+mara", text)


def test_the_manifest_names_labels_printed_again_and_signatures_that_no_longer_count(
    closed: tuple[Database, int], rules: Rules
) -> None:
    office, mailing_id = closed
    with office.write() as session:
        sign(session, mailing_id, account="joel", counts=Counts(3, 4, 4), at=CUT_OFF)
        packet = session.query(Packet).filter(Packet.ballot_number == "8000025").one()
        reprint(session, packet.id, by="mara", at=CUT_OFF, reason="jam")
        pull(session, packet.id, by="mara", at=CUT_OFF, reason="envelope torn")
        text = text_of(manifest_pdf(session, mailing_id, rules))
    assert "Ballot 8000025: the printer jammed (mara, October 14, 2026, 2:30 pm)" in text
    assert re.search(r"no longer valid\s+joel, October 14", text)
    assert not re.search(r"First person\s+3", text)


def test_only_labels_carry_names_and_addresses(closed: tuple[Database, int], rules: Rules) -> None:
    office, mailing_id = closed
    with office.read() as session:
        for paper in (pick_list_pdf, checklist_pdf, manifest_pdf):
            text = text_of(paper(session, mailing_id, rules)).upper()
            assert "TIDEWATER" not in text
            assert "NGUY" not in text


def test_nothing_is_printed_before_the_mailing_is_closed(office: Database, queue: Queue, rules: Rules) -> None:
    with office.write() as session:
        mailing_id = queue(session, "8000017").mailing_id
        for paper in (labels_pdf, pick_list_pdf, checklist_pdf, manifest_pdf):
            with pytest.raises(NotPossible, match="open"):
                paper(session, mailing_id, rules)
        with pytest.raises(NotPossible, match="no mailing"):
            labels_pdf(session, 99, rules)


def test_an_empty_mailing_still_has_its_papers(office: Database, queue: Queue, rules: Rules) -> None:
    with office.write() as session:
        packet = queue(session, "8000017")
        pull(session, packet.id, by="mara", at=CUT_OFF, reason="taken back")
        close(session, packet.mailing_id, rules=rules, by="schedule", at=CUT_OFF)
        for paper in (labels_pdf, pick_list_pdf, checklist_pdf, manifest_pdf):
            assert text_of(paper(session, packet.mailing_id, rules))
