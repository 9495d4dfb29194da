"""What staff corrected and confirmed goes into a file to teach by; on both databases."""

from __future__ import annotations

import json
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import delete, text, update
from sqlalchemy.exc import DBAPIError

from replacements.people import accounts
from replacements.reading.teaching import examples
from replacements.reading.types import Cause, Kind
from replacements.requests import deciding
from replacements.requests.correcting import correct
from replacements.requests.teaching_files import Taught, taught_by_the_office
from replacements.store.tables import Correction, Message, RawMail, Request
from tests.requests.conftest import MONDAY, OfficeAtWork

LATER = MONDAY + timedelta(days=2)


@pytest.fixture
def staffed(at_work: OfficeAtWork) -> OfficeAtWork:
    """The office with a clerk who can sign in: what nobody decided, nobody confirmed."""
    with at_work.database.write() as session:
        accounts.create(session, name="clara", password="three herons by the weir", roles=["clerk"], at=MONDAY)
    return at_work


def _taught(staffed: OfficeAtWork, **how: Any) -> Taught:
    with staffed.database.read() as session:
        return taught_by_the_office(session, **how)


def _correct(staffed: OfficeAtWork, request: Request, *kinds: str, cause: str = "", at: Any = MONDAY) -> None:
    correct(staffed.database, request.id, kinds=kinds, cause=cause, by="clara", at=at)


def _approve(staffed: OfficeAtWork, request: Request, by: str = "clara", **more: Any) -> None:
    deciding.approve(
        staffed.database, request.id, version=request.version, by=by, roles=("clerk",), at=MONDAY, **more
    )  # fmt: skip


def test_a_corrected_message_teaches_its_new_words_and_its_last_correction(
    staffed: OfficeAtWork, tmp_path: Path
) -> None:
    request = staffed.spoiled_by_ada(subject="Tea")
    _correct(staffed, request, "question")
    _correct(staffed, request, "not_received", "question", cause="lost")
    found = _taught(staffed)
    assert (found.corrected, found.confirmed, found.gone) == (1, 0, 0)
    file = tmp_path / "ours.jsonl"
    file.write_text(found.as_lines(), encoding="utf-8")
    (example,) = examples([file])
    assert example.kinds == {Kind.NOT_RECEIVED, Kind.QUESTION}
    assert example.cause is Cause.LOST
    assert example.letter.subject == "Tea"
    assert example.letter.new_text.startswith("Hello, I filled in the wrong oval")


def test_words_that_the_voter_only_quotes_are_not_taught(staffed: OfficeAtWork) -> None:
    (request,) = staffed.receive(
        "Thanks, that helps.\n\nAda Quillfeather\n\nOn Mon, Oct 5, 2026 the office wrote:\n> It is on its way.\n"
    )
    _correct(staffed, request, "other")
    (message,) = _taught(staffed).messages
    assert "Thanks" in message["text"]
    assert "on its way" not in message["text"]


def test_messages_of_one_sender_stay_one_writers_and_name_nobody(staffed: OfficeAtWork) -> None:
    for sender in ("Ada <ada.q@post.example>", "Bo <bo@post.example>", "Ada <ADA.Q@post.example>"):
        (request,) = staffed.receive("When must it be back?", sender=sender)
        _correct(staffed, request, "question")
    assert [m["writer"] for m in _taught(staffed).messages] == ["w1", "w2", "w1"]


def test_purged_mail_is_left_out_and_counted(staffed: OfficeAtWork) -> None:
    request = staffed.spoiled_by_ada()
    _correct(staffed, request, "spoiled_ballot", cause="damaged")
    with staffed.database.write() as session:
        session.execute(delete(RawMail).where(RawMail.message_id == request.message_id))
    found = _taught(staffed)
    assert (found.messages, found.corrected, found.gone) == ([], 0, 1)


def test_machine_mail_is_told_by_its_headers_and_not_taught(staffed: OfficeAtWork) -> None:
    request = staffed.spoiled_by_ada()
    _correct(staffed, request, "automatic")
    found = _taught(staffed)
    assert (found.messages, found.machine) == ([], 1)


def test_only_what_was_corrected_since_a_day(staffed: OfficeAtWork) -> None:
    first, second = staffed.spoiled_by_ada(), staffed.spoiled_by_ada(subject="again")
    _correct(staffed, first, "question")
    _correct(staffed, second, "question", at=LATER)
    assert _taught(staffed, since=LATER).corrected == 1
    assert _taught(staffed, since=MONDAY).corrected == 2


def test_a_decision_as_proposed_confirms_the_reading_only_where_asked_for(staffed: OfficeAtWork) -> None:
    request = _surely_read(staffed)
    _approve(staffed, request)
    assert _taught(staffed).messages == []
    found = _taught(staffed, confirmed=True)
    assert (found.corrected, found.confirmed) == (0, 1)
    (message,) = found.messages
    assert (message["kinds"], message["cause"]) == (["spoiled_ballot"], "damaged")
    assert _taught(staffed, confirmed=True, since=LATER).messages == []


def _surely_read(staffed: OfficeAtWork, p: float = 0.97) -> Request:
    """A request of Ada's whose reading was so sure, whatever the weights of the day would say."""
    request = staffed.spoiled_by_ada()
    with staffed.database.write() as session:
        message = session.get_one(Message, request.message_id)
        kinds = [{"kind": "spoiled_ballot", "p": p, "because": ["over my ballot"]}]
        message.judgement = {**(message.judgement or {}), "kinds": kinds}
        session.execute(
            update(Request)
            .where(Request.id == request.id)
            .values(proposal="reissue", cause="damaged", two_people=False)
        )
    return staffed.request(request.id)


def test_an_unsure_reading_is_not_confirmed_by_a_decision(staffed: OfficeAtWork) -> None:
    _approve(staffed, _surely_read(staffed, p=0.89))
    assert _taught(staffed, confirmed=True).messages == []


def test_a_decision_of_something_else_confirms_nothing(staffed: OfficeAtWork) -> None:
    _approve(staffed, _surely_read(staffed), action=deciding.Action.COME_IN, note="she called")
    assert _taught(staffed, confirmed=True).messages == []


def test_what_the_rules_let_through_by_themselves_confirms_nothing(staffed: OfficeAtWork) -> None:
    _approve(staffed, _surely_read(staffed), by="rules: clear case")
    assert _taught(staffed, confirmed=True).messages == []


def test_what_waits_confirms_nothing(staffed: OfficeAtWork) -> None:
    _surely_read(staffed)
    assert _taught(staffed, confirmed=True).messages == []


def test_a_person_having_read_it_says_nothing_of_what_it_asks(staffed: OfficeAtWork) -> None:
    request = _surely_read(staffed)
    with staffed.database.write() as session:
        session.execute(update(Request).where(Request.id == request.id).values(proposal="read"))
    _approve(staffed, staffed.request(request.id))
    assert staffed.request(request.id).decision == "read"
    assert _taught(staffed, confirmed=True).messages == []


def test_a_correction_goes_before_the_decision(staffed: OfficeAtWork) -> None:
    request = _surely_read(staffed)
    _approve(staffed, request)
    _correct(staffed, request, "question")
    found = _taught(staffed, confirmed=True)
    assert [m["kinds"] for m in found.messages] == [["question"]]
    assert _taught(staffed, confirmed=True, since=LATER).messages == []


def test_masking_takes_out_digits_and_the_voters_known_names(staffed: OfficeAtWork) -> None:
    request = staffed.spoiled_by_ada(subject="from ADA, 14 Otter")
    _correct(staffed, request, "spoiled_ballot", cause="spoiled")
    open_, (hidden,) = _taught(staffed).messages[0], _taught(staffed, mask=True).messages
    assert "Quillfeather" in open_["text"]
    whole = json.dumps(hidden["text"] + hidden["subject"])
    assert "quillfeather" not in whole.lower()
    assert "ada" not in whole.lower()
    assert not any(c.isdigit() for c in whole)
    assert hidden["subject"] == "from NAME, ## Otter"
    assert hidden["text"].startswith("Hello, I filled in the wrong oval")


def test_the_database_lets_nobody_change_or_remove_a_correction(staffed: OfficeAtWork) -> None:
    _correct(staffed, staffed.spoiled_by_ada(), "question")
    for statement in ("UPDATE corrections SET account = 'nobody'", "DELETE FROM corrections"):
        with pytest.raises(DBAPIError, match="never changed or removed"), staffed.database.write() as session:
            session.execute(text(statement))
    with staffed.database.read() as session:
        assert session.query(Correction).one().account == "clara"
