"""At the cut-off a mailing is closed: labels frozen, faults set aside, counts on record."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime

import pytest
from sqlalchemy import func, select

from replacements.ballots import life
from replacements.mailings.closing import close
from replacements.mailings.manifest import hash_of
from replacements.mailings.queue import pull
from replacements.rules.office import Rules
from replacements.store.database import Database
from replacements.store.tables import Ballot, LedgerEntry, Mailing, Packet, VoterRow

MORNING = datetime(2026, 10, 14, 13, 0, tzinfo=UTC)
CUT_OFF = datetime(2026, 10, 14, 18, 30, tzinfo=UTC)
Queue = Callable[..., Packet]


def test_closing_freezes_each_packet_with_the_lines_of_its_label(office: Database, queue: Queue, rules: Rules) -> None:
    with office.write() as session:
        packet = queue(
            session,
            "8000017",
            first_name="Linh",
            middle_name="Thị",
            last_name="Nguyễn",
            street="45 North Tidewater Avenue",
            unit="Apartment 3B",
        )
        mailing = close(session, packet.mailing_id, rules=rules, by="schedule", at=CUT_OFF)
        assert (mailing.state, mailing.closed_by) == ("closed", "schedule")
        assert packet.state == "frozen"
        assert packet.label == ["LINH THỊ NGUYỄN", "45 N TIDEWATER AVE APT 3B", "EELPOINT NC 27998"]


def test_the_mailing_address_goes_before_the_residence(office: Database, queue: Queue, rules: Rules) -> None:
    with office.write() as session:
        packet = queue(
            session,
            "8000017",
            mail_street="P.O. Box 33",
            mail_city="Rushes",
            mail_state="virginia",
            mail_zip="233011234",
        )
        close(session, packet.mailing_id, rules=rules, by="schedule", at=CUT_OFF)
        assert packet.label == ["WREN HALLOWAY", "PO BOX 33", "RUSHES VA 23301-1234"]


def test_an_address_abroad_ends_with_its_country(office: Database, queue: Queue, rules: Rules) -> None:
    with office.write() as session:
        packet = queue(
            session,
            "8000017",
            overseas=True,
            mail_street="Étang 4",
            mail_city="Lyon",
            mail_zip="69003",
            mail_country="France",
        )
        close(session, packet.mailing_id, rules=rules, by="schedule", at=CUT_OFF)
        assert packet.label == ["WREN HALLOWAY", "ÉTANG 4", "LYON 69003", "FRANCE"]


def test_a_label_does_not_change_when_the_roll_changes_after_closing(
    office: Database, queue: Queue, rules: Rules
) -> None:
    with office.write() as session:
        packet = queue(session, "8000017")
        close(session, packet.mailing_id, rules=rules, by="schedule", at=CUT_OFF)
        session.get_one(VoterRow, packet.voter_id).street = "99 Elsewhere Road"
    with office.write() as session:
        close(session, packet.mailing_id, rules=rules, by="schedule", at=CUT_OFF)
        label = session.get_one(Packet, packet.id).label
        assert label is not None
        assert label[1] == "12 TIDEWATER LN"


@pytest.mark.parametrize(
    ("columns", "fault"),
    [
        ({"street": ""}, "no street"),
        ({"street": "Tidewater Lane"}, "neither a house number nor a PO box"),
        ({"state": "ZQ"}, "no state 'ZQ'"),
        ({"state": ""}, "no state"),
        ({"city": ""}, "no city"),
        ({"zip": "2799"}, "ZIP code"),
        ({"zip": ""}, "no ZIP code"),
        ({"last_name": "W" * 60}, "too long for the label"),
        ({"last_name": "한"}, "cannot be printed"),
        ({"mail_city": "Rushes"}, "no street"),  # half a mailing address is not made whole from the residence
    ],
)
def test_an_address_fault_stops_the_packet_and_not_the_mailing(
    office: Database, queue: Queue, rules: Rules, columns: dict[str, str], fault: str
) -> None:
    with office.write() as session:
        good = queue(session, "8000017")
        bad = queue(session, "8000025", **columns)
        mailing = close(session, good.mailing_id, rules=rules, by="schedule", at=CUT_OFF)
        assert (good.state, bad.state) == ("frozen", "queued")
        assert bad.fault is not None
        assert fault in bad.fault
        assert session.get_one(Mailing, bad.mailing_id).goes_on == date(2026, 10, 15)
        assert mailing.manifest is not None
        assert mailing.manifest["numbers"] == ["8000017"]
        assert mailing.manifest["left_out"] == [{"packet": bad.id, "ballot": "8000025", "fault": bad.fault}]


def test_a_packet_whose_address_was_put_right_goes_with_the_next_mailing(
    office: Database, queue: Queue, rules: Rules
) -> None:
    with office.write() as session:
        packet = queue(session, "8000017", street="")
        close(session, packet.mailing_id, rules=rules, by="schedule", at=CUT_OFF)
        session.get_one(VoterRow, packet.voter_id).street = "PO Box 7"
        close(session, packet.mailing_id, rules=rules, by="schedule", at=CUT_OFF)
        assert (packet.state, packet.fault) == ("frozen", None)


def test_a_voter_who_left_the_roll_stops_the_packet(office: Database, queue: Queue, rules: Rules) -> None:
    with office.write() as session:
        packet = queue(session, "8000017")
        session.delete(session.get_one(VoterRow, packet.voter_id))
        session.flush()
        close(session, packet.mailing_id, rules=rules, by="schedule", at=CUT_OFF)
        assert packet.fault == "the voter is no longer on the roll"


def test_a_ballot_that_was_voided_while_it_waited_is_not_mailed(office: Database, queue: Queue, rules: Rules) -> None:
    with office.write() as session:
        packet = queue(session, "8000017")
        life.void(session, number="8000017", reason="voted in person", by="mara", at=MORNING)
        mailing = close(session, packet.mailing_id, rules=rules, by="schedule", at=CUT_OFF)
        assert packet.state == "pulled"
        assert mailing.manifest is not None
        assert mailing.manifest["total"] == 0


def test_the_manifest_counts_in_total_and_by_style_and_its_hash_fits(
    office: Database, queue: Queue, rules: Rules
) -> None:
    with office.write() as session:
        packet = queue(session, "8000025", style="07-B")
        queue(session, "8000017")
        queue(session, "8000033", style="07-B")
        queue(session, None)
        manifest = close(session, packet.mailing_id, rules=rules, by="schedule", at=CUT_OFF).manifest
    assert manifest is not None
    assert (manifest["total"], manifest["ballots"], manifest["materials"]) == (4, 3, 1)
    assert manifest["by_style"] == {"07-A": 1, "07-B": 2}
    assert manifest["numbers"] == ["8000017", "8000025", "8000033"]
    assert manifest["sha256"] == hash_of(manifest)
    assert hash_of({**manifest, "total": 5}) != manifest["sha256"]


def test_the_manifest_holds_nothing_personal(office: Database, queue: Queue, rules: Rules) -> None:
    with office.write() as session:
        packet = queue(session, "8000017")
        manifest = close(session, packet.mailing_id, rules=rules, by="schedule", at=CUT_OFF).manifest
    assert not any(word in str(manifest).lower() for word in ("wren", "halloway", "tidewater", "27998"))


def test_closing_twice_is_one_closing(office: Database, queue: Queue, rules: Rules) -> None:
    with office.write() as session:
        packet = queue(session, "8000017")
        first = close(session, packet.mailing_id, rules=rules, by="schedule", at=CUT_OFF)
        manifest = first.manifest
    with office.write() as session:
        again = close(session, packet.mailing_id, rules=rules, by="mara", at=CUT_OFF)
        assert (again.closed_by, again.manifest) == ("schedule", manifest)
        closings = select(func.count()).select_from(LedgerEntry).where(LedgerEntry.event == "mailing_closed")
        assert session.scalar(closings) == 1


def test_a_mailing_that_does_not_exist_cannot_be_closed(office: Database, rules: Rules) -> None:
    with office.write() as session, pytest.raises(life.NotPossible):
        close(session, 99, rules=rules, by="mara", at=CUT_OFF)


def test_an_empty_mailing_closes_with_a_count_of_none(office: Database, queue: Queue, rules: Rules) -> None:
    with office.write() as session:
        packet = queue(session, "8000017")
        pull(session, packet.id, by="mara", at=MORNING, reason="taken back")
        mailing = close(session, packet.mailing_id, rules=rules, by="schedule", at=CUT_OFF)
        assert mailing.manifest is not None
        assert mailing.manifest["total"] == 0


def test_a_packet_taken_out_after_closing_is_on_the_manifest_with_who_and_why(
    office: Database, queue: Queue, rules: Rules
) -> None:
    with office.write() as session:
        packet = queue(session, "8000017")
        queue(session, "8000025")
        mailing = close(session, packet.mailing_id, rules=rules, by="schedule", at=CUT_OFF)
        before = mailing.manifest
        pull(session, packet.id, by="mara", at=CUT_OFF, reason="stained in assembly")
        after = mailing.manifest
    assert before is not None
    assert after is not None
    assert (before["total"], after["total"]) == (2, 1)
    assert after["taken_out"][0] | {"at": ""} == {
        "packet": packet.id,
        "ballot": "8000017",
        "by": "mara",
        "at": "",
        "reason": "stained in assembly",
    }
    assert after["sha256"] == hash_of(after) != before["sha256"]
    with office.read() as session:
        assert session.get_one(Ballot, "8000017").state == "issued"
