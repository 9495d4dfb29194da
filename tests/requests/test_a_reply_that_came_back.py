"""A reply that comes back undelivered is shown on its request, and a person learns of it."""

from __future__ import annotations

from datetime import timedelta
from email import message_from_bytes
from email.message import Message as Mail

from sqlalchemy import select

from replacements.proposals.types import Action
from replacements.replies import outbox
from replacements.requests import came_back, deciding
from replacements.store.tables import Reply, Request
from tests.requests.conftest import MONDAY, OfficeAtWork

LATER = MONDAY + timedelta(hours=2)


class Post:
    """Takes every reply, and keeps it."""

    def __init__(self) -> None:
        self.taken: list[Mail] = []

    def send(self, raw: bytes, *, to: str, sender: str, message_id: str) -> None:
        self.taken.append(message_from_bytes(raw))


def approve(at_work: OfficeAtWork, request: Request) -> Request:
    deciding.approve(
        at_work.database, request.id, version=request.version, by="clara", roles=("clerk",), at=MONDAY, note=""
    )
    return at_work.request(request.id)


def post(at_work: OfficeAtWork) -> list[Mail]:
    transport = Post()
    outbox.send_due(
        at_work.database, transport, sender_name="Ballots", sender_address="ballots@saltgrass.example", now=MONDAY
    )
    return transport.taken


def bounce(ours: Mail, *, action: str = "failed", status: str = "5.1.1", number: int = 1) -> bytes:
    header = "".join(f"{name}: {ours[name]}\n" for name in ("From", "To", "Subject", "Message-ID", "In-Reply-To"))
    return (
        f"From: MAILER-DAEMON@mx.post.example\nTo: ballots@saltgrass.example\nSubject: Delivery Status Notification\n"
        f"Message-ID: <b{number}@mx.post.example>\nDate: Mon, 05 Oct 2026 11:30:00 -0400\nReturn-Path: <>\n"
        "Content-Type: multipart/report; report-type=delivery-status; boundary=r\n\n"
        "--r\n\nIt could not be delivered.\n"
        "--r\nContent-Type: message/delivery-status\n\nReporting-MTA: dns; mx.post.example\n\n"
        f"Final-Recipient: rfc822; {ours['To']}\nAction: {action}\nStatus: {status}\n"
        f"Diagnostic-Code: smtp; 550 {status} {ours['To']} unknown\n"
        f"--r\nContent-Type: text/rfc822-headers\n\n{header}\n--r--\n"
    ).encode()


def plain_bounce(ours: Mail, *, head: str = "", subject: str = "failure notice") -> bytes:
    return (
        f"From: MAILER-DAEMON@mx.post.example\nTo: ballots@saltgrass.example\nSubject: {subject}\n"
        f"Message-ID: <p1@mx.post.example>\nDate: Mon, 05 Oct 2026 11:30:00 -0400\n{head}\n"
        f"I could not deliver it. {ours['To']}: user unknown\n"
    ).encode()


def the_reply(at_work: OfficeAtWork, request: Request) -> Reply:
    with at_work.database.read() as session:
        return session.scalars(select(Reply).where(Reply.request_id == request.id)).one()


def test_a_bounce_is_tied_to_the_reply_by_the_returned_message_id(at_work: OfficeAtWork) -> None:
    request = approve(at_work, at_work.spoiled_by_ada())
    (ours,) = post(at_work)
    (notice,) = at_work.receive_raw(bounce(ours), at=LATER)
    reply = the_reply(at_work, request)
    assert (reply.state, reply.returned_at) == ("sent", LATER)
    assert reply.returned_because == "there is no such mailbox"
    assert "ada.q@post.example" in (reply.returned_told or "")
    assert notice.continues == request.id


def test_a_decided_request_stays_decided_and_the_notice_waits_for_a_person(at_work: OfficeAtWork) -> None:
    request = approve(at_work, at_work.spoiled_by_ada())
    before = at_work.ballots(request.voter_id or "")
    (ours,) = post(at_work)
    (notice,) = at_work.receive_raw(bounce(ours), at=LATER)
    assert at_work.request(request.id).state == "done"
    assert at_work.ballots(request.voter_id or "") == before
    assert (notice.state, notice.proposal) == ("waiting", "read")
    (reason,) = notice.reasons
    assert reason["rule"] == came_back.RULE
    assert f"request {request.id}" in reason["text"]
    assert "ada.q" not in reason["text"]  # observers read the reasons


def test_a_voter_who_was_asked_in_vain_waits_for_a_person_again(at_work: OfficeAtWork) -> None:
    (request,) = at_work.receive("I spoiled my ballot, please send another.", sender="who@post.example")
    assert request.proposal == "ask_identity"
    asked = approve(at_work, request)
    assert asked.state == "asked"
    (ours,) = post(at_work)
    (notice,) = at_work.receive_raw(bounce(ours, status="5.2.2"), at=LATER)
    reopened = at_work.request(request.id)
    assert (reopened.state, reopened.decision, reopened.decided_by) == ("waiting", None, None)
    assert reopened.version > asked.version
    assert "the mailbox is full" in reopened.reasons[-1]["text"]
    assert (notice.state, notice.continues) == ("filed", request.id)  # one thing to do, not two


def test_a_decision_on_the_page_as_it_was_before_the_bounce_is_refused(on_sqlite: OfficeAtWork) -> None:
    (request,) = on_sqlite.receive("I spoiled my ballot, please send another.", sender="who@post.example")
    asked = approve(on_sqlite, request)
    (ours,) = post(on_sqlite)
    on_sqlite.receive_raw(bounce(ours), at=LATER)
    try:
        approve(on_sqlite, asked)
    except deciding.Stale:
        return
    raise AssertionError("a decision on what nobody could know yet was taken")


def test_a_notice_of_delay_is_only_tied(at_work: OfficeAtWork) -> None:
    request = approve(at_work, at_work.spoiled_by_ada())
    (ours,) = post(at_work)
    (notice,) = at_work.receive_raw(bounce(ours, action="delayed", status="4.4.1"), at=LATER)
    assert the_reply(at_work, request).returned_at is None
    assert (notice.state, notice.continues) == ("filed", request.id)


def test_the_same_reply_returned_twice_makes_one_thing_to_do(at_work: OfficeAtWork) -> None:
    approve(at_work, at_work.spoiled_by_ada())
    (ours,) = post(at_work)
    first, second = (at_work.receive_raw(bounce(ours, number=n), at=LATER)[0] for n in (1, 2))
    assert (first.state, second.state) == ("waiting", "filed")


def test_a_notice_that_answers_ours_is_tied_by_that(at_work: OfficeAtWork) -> None:
    request = approve(at_work, at_work.spoiled_by_ada())
    (ours,) = post(at_work)
    at_work.receive_raw(plain_bounce(ours, head=f"In-Reply-To: {ours['Message-ID']}\n"), at=LATER)
    assert the_reply(at_work, request).returned_because == "there is no such mailbox"


def test_at_last_recipient_and_subject_tell(at_work: OfficeAtWork) -> None:
    request = approve(at_work, at_work.spoiled_by_ada())
    (ours,) = post(at_work)
    at_work.receive_raw(plain_bounce(ours, subject=f"Undeliverable: {ours['Subject']}"), at=LATER)
    assert the_reply(at_work, request).returned_at == LATER


def test_a_bounce_of_what_the_office_never_sent_is_filed(at_work: OfficeAtWork) -> None:
    request = approve(at_work, at_work.spoiled_by_ada())
    (ours,) = post(at_work)
    del ours["Message-ID"], ours["Subject"]
    ours["Message-ID"], ours["Subject"] = "<forged@far.example>", "You have won"
    (notice,) = at_work.receive_raw(bounce(ours), at=LATER)
    assert (notice.state, notice.proposal) == ("filed", "drop")
    assert the_reply(at_work, request).returned_at is None


def test_a_bounce_two_weeks_later_is_not_guessed_by_its_subject(on_sqlite: OfficeAtWork) -> None:
    request = approve(on_sqlite, on_sqlite.spoiled_by_ada())
    (ours,) = post(on_sqlite)
    raw = plain_bounce(ours, subject=f"Undeliverable: {ours['Subject']}").replace(b"05 Oct", b"25 Oct")
    on_sqlite.receive_raw(raw, at=LATER + timedelta(days=20))
    assert the_reply(on_sqlite, request).returned_at is None


def test_what_came_back_was_not_said_and_may_be_said_again(on_sqlite: OfficeAtWork) -> None:
    def come_in() -> Request:
        (request,) = on_sqlite.receive("What pen may I use to mark my ballot?", sender="Ada <ada.q@post.example>")
        deciding.approve(
            on_sqlite.database,
            request.id,
            version=request.version,
            by="clara",
            roles=("clerk",),
            at=MONDAY,
            action=Action.COME_IN,
            note="told so",
        )
        return request

    first = come_in()
    (ours,) = post(on_sqlite)
    on_sqlite.receive_raw(bounce(ours), at=LATER)
    assert the_reply(on_sqlite, come_in()).text == the_reply(on_sqlite, first).text
