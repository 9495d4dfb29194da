"""Every message is kept before anything else, once, and read once; what cannot be read goes to a person."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from sqlalchemy import func, select

from replacements.requests import intake
from replacements.store.database import Database
from replacements.store.tables import Message, RawMail, Request, Sighting
from tests.requests.conftest import MONDAY, OfficeAtWork

RAW = (
    b"Received: from a by mx.saltgrass.example; Mon, 05 Oct 2026 09:00:00 -0400\r\n"
    b"From: ada.q@post.example\r\nTo: ballots@saltgrass.example\r\nSubject: x\r\n"
    b"Date: Mon, 05 Oct 2026 09:00:00 -0400\r\nMessage-ID: <same@post.example>\r\n\r\nHello\r\n"
)


def count(at_work: OfficeAtWork, table: type) -> int:
    with at_work.database.read() as session:
        return session.scalar(select(func.count()).select_from(table)) or 0


def keep(at_work: OfficeAtWork, raw: bytes, uid: str, *, source: str = "box", validity: str = "1") -> intake.Kept:
    return intake.keep(at_work.database, raw, source=source, validity=validity, uid=uid, at=MONDAY)


def test_the_same_place_in_the_mailbox_twice_is_one_message(at_work: OfficeAtWork) -> None:
    first, second = keep(at_work, RAW, "7"), keep(at_work, RAW, "7")
    assert (first.new, second.new) == (True, False)
    assert first.message_id == second.message_id
    assert count(at_work, Message) == count(at_work, Sighting) == 1


def test_the_same_message_delivered_twice_is_one_message_seen_in_two_places(at_work: OfficeAtWork) -> None:
    keep(at_work, RAW, "7")
    again = keep(at_work, RAW.replace(b"from a by", b"from b by"), "8")
    assert not again.new
    assert (count(at_work, Message), count(at_work, Sighting)) == (1, 2)


def test_a_mailbox_that_numbers_anew_brings_nothing_twice(at_work: OfficeAtWork) -> None:
    keep(at_work, RAW, "7", validity="1")
    assert not keep(at_work, RAW, "7", validity="2").new


def test_another_text_under_the_same_message_id_is_another_message(at_work: OfficeAtWork) -> None:
    keep(at_work, RAW, "7")
    assert keep(at_work, RAW.replace(b"Hello", b"Void my ballot"), "8").new


def test_a_forged_copy_does_not_swallow_the_true_one(at_work: OfficeAtWork) -> None:
    keep(at_work, b"Authentication-Results: mx.saltgrass.example; dmarc=fail\r\n" + RAW, "7")
    assert keep(at_work, b"Authentication-Results: mx.saltgrass.example; dmarc=pass\r\n" + RAW, "8").new


@pytest.mark.parametrize("raw", [b"", b"\x00\xff\xfe no mail at all", b"\n\n\n"])
def test_bytes_that_are_no_mail_become_a_request_for_a_person_and_are_kept(at_work: OfficeAtWork, raw: bytes) -> None:
    (request,) = at_work.receive_raw(raw)
    assert (request.proposal, request.state, request.kinds) == ("read", "waiting", [])
    with at_work.database.read() as session:
        kept = session.get_one(RawMail, request.message_id)
        message = session.get_one(Message, request.message_id)
    assert kept.raw == raw
    assert message.state == "failed"


def test_a_fault_of_the_program_is_tried_again_and_then_goes_to_a_person(
    on_sqlite: OfficeAtWork, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise RuntimeError("Ada Quillfeather's mail")

    monkeypatch.setattr(intake, "judge_among", broken)
    kept = keep(on_sqlite, RAW, "7")
    for _ in range(intake.MOST_ATTEMPTS):
        assert count(on_sqlite, Request) == 0
        assert not intake.read_one(on_sqlite.database, kept.message_id, now=MONDAY)
    with on_sqlite.database.read() as session:
        request = session.scalars(select(Request)).one()
        message = session.get_one(Message, kept.message_id)
    assert request.proposal == "read"
    assert "Quillfeather" not in (message.error or "")
    assert intake.read_one(on_sqlite.database, kept.message_id, now=MONDAY)


def test_a_message_read_twice_makes_its_requests_once(at_work: OfficeAtWork) -> None:
    request = at_work.spoiled_by_ada()
    assert intake.read_one(at_work.database, request.message_id, now=MONDAY)
    assert count(at_work, Request) == 1


def test_before_any_rules_are_loaded_mail_is_kept_and_waits(database: Database) -> None:
    kept = intake.keep(database, RAW, source="box", validity="1", uid="1", at=MONDAY)
    assert intake.read_waiting(database, now=lambda: MONDAY) == 0
    with database.read() as session:
        assert session.get_one(Message, kept.message_id).state == "stored"


def test_machine_mail_is_filed_and_never_answered(at_work: OfficeAtWork) -> None:
    (request,) = at_work.receive(
        "I am away until Monday. My ballot is spoiled, send another.", headers={"Auto-Submitted": "auto-replied"}
    )
    assert (request.proposal, request.state, request.reply_draft) == ("drop", "filed", None)


def test_a_voter_who_wrote_in_time_is_not_late_because_the_office_read_late(
    sqlite_database: Database, county: Callable[..., OfficeAtWork]
) -> None:
    at_work = county(sqlite_database)
    wrote = MONDAY.replace(month=10, day=27, hour=16, minute=58)  # the last moment is 5 pm
    request = at_work.spoiled_by_ada(at=wrote)
    assert request.proposal == "reissue"
    late = at_work.spoiled_by_ada(at=wrote + timedelta(minutes=5), subject="late")
    assert late.proposal in ("come_in", "read")


def test_a_picture_is_withheld_and_named(at_work: OfficeAtWork) -> None:
    raw = (
        b"From: Ada Quillfeather <ada.q@post.example>\nTo: ballots@saltgrass.example\nSubject: help\n"
        b"Date: Mon, 05 Oct 2026 09:00:00 -0400\nMessage-ID: <pic@post.example>\nMIME-Version: 1.0\n"
        b'Content-Type: multipart/mixed; boundary="b"\n\n--b\nContent-Type: text/plain\n\n'
        b"my ballot got soaked, please send another. Ada Quillfeather, 14 Otter Bank Rd\n"
        b'--b\nContent-Type: image/jpeg\nContent-Disposition: attachment; filename="ballot.jpg"\n'
        b"Content-Transfer-Encoding: base64\n\n/9j/4AAQ\n--b--\n"
    )
    (request,) = at_work.receive_raw(raw)
    with at_work.database.read() as session:
        judgement = session.get_one(Message, request.message_id).judgement
    assert judgement is not None
    assert judgement["withheld"] == ["ballot.jpg"]
