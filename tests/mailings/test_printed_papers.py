"""What is printed says what is on record, in text that can be read back out of the file."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import UTC, datetime
from io import BytesIO

import pytest
from pypdf import PdfReader

from replacements.ballots.life import NotPossible
from replacements.mailings import lettering
from replacements.mailings.closing import close
from replacements.mailings.documents import checklist_pdf, labels_pdf, manifest_pdf, pick_list_pdf
from replacements.mailings.label_sheet import ACROSS, DOWN
from replacements.mailings.queue import pull
from replacements.mailings.signing import sign
from replacements.rules.office import Rules
from replacements.store.database import Database
from replacements.store.tables import Packet

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
        mailing_ids = {queue(session, f"80{number:05d}").mailing_id for number in range(ACROSS * DOWN + 1)}
        mailing_id = mailing_ids.pop()
        close(session, mailing_id, rules=rules, by="schedule", at=CUT_OFF)
        sheets = pages(labels_pdf(session, mailing_id, rules))
    assert [len(re.findall(r"Ballot 80\d{5}", sheet)) for sheet in sheets] == [10, 1]


def test_a_second_print_is_the_same_and_is_counted(closed: tuple[Database, int], rules: Rules) -> None:
    office, mailing_id = closed
    with office.write() as session:
        first, second = labels_pdf(session, mailing_id, rules), labels_pdf(session, mailing_id, rules)
        packet = session.query(Packet).filter(Packet.ballot_number == "8000017").one()
        assert packet.printed == 2
        alone = text_of(labels_pdf(session, mailing_id, rules, packets=[packet.id]))
        assert packet.printed == 2
    assert first == second
    assert "8000017" in alone
    assert "8000025" not in alone


def test_the_address_is_never_smaller_than_machines_can_read(rules: Rules) -> None:
    long_name = "W" * 20
    for lines in ([long_name] * 6, ["A"], ["MM MM MM MM MM MM MM MM MM"]):
        assert lettering.SMALLEST <= lettering.size_for(lines, height=60) <= lettering.LARGEST
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
    assert "Overseas" in text[text.index("Ballot 8000033") :]
    assert "ballot envelope" in text


def test_the_manifest_states_counts_numbers_what_stays_out_and_its_hash(
    closed: tuple[Database, int], rules: Rules
) -> None:
    office, mailing_id = closed
    with office.write() as session:
        gone = session.query(Packet).filter(Packet.ballot_number == "8000025").one()
        pull(session, gone.id, by="mara", at=CUT_OFF, reason="envelope torn")
        sign(session, mailing_id, account="mara", counted=3, at=CUT_OFF)
        text = text_of(manifest_pdf(session, mailing_id, rules))
    assert re.search(r"Packets to count\s+3", text)
    assert "8000017, 8000033" in text
    assert "Ballot 8000041: the address has no street" in text
    assert "Ballot 8000025: envelope torn (mara, October 14, 2026, 2:30 pm)" in text
    assert re.search(r"[0-9a-f]{64}", text)
    assert "Second person" in text


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
