"""What a bounce says came back: which message, to whom, why; in the standard form and in the forms of old programs."""

from __future__ import annotations

import pytest

from replacements.mail.letter import Letter, Returned
from replacements.mail.parsing import parse

OURS = "<0badf00d@county.example>"
HEADER = f"From: ballots@county.example\nTo: ada@home.example\nSubject: Your new ballot\nMessage-ID: {OURS}\n"


def _report(status: str, *, copy: str = "message/rfc822", original: str = f"{HEADER}\nIt is in the mail.\n") -> bytes:
    return (
        "From: MAILER-DAEMON@mx.home.example\nTo: ballots@county.example\nSubject: Undelivered mail returned\n"
        "Message-ID: <b1@mx.home.example>\nAuto-Submitted: auto-replied\n"
        "Content-Type: multipart/report; report-type=delivery-status; boundary=r\n\n"
        "--r\nContent-Type: text/plain\n\nYour message could not be delivered.\n"
        f"--r\nContent-Type: message/delivery-status\n\nReporting-MTA: dns; mx.home.example\n\n{status}\n"
        f"--r\nContent-Type: {copy}\n\n{original}\n--r--\n"
    ).encode()


def _status(code: str, diagnostic: str = "", action: str = "failed") -> str:
    told = f"Diagnostic-Code: smtp; {diagnostic}\n" if diagnostic else ""
    return f"Final-Recipient: rfc822; ada@home.example\nAction: {action}\nStatus: {code}\n{told}"


def _plain(text: str, *, subject: str = "failure notice", head: str = "") -> bytes:
    return f"From: MAILER-DAEMON@mx.home.example\nSubject: {subject}\n{head}\n{text}".encode()


def _returned(raw: bytes) -> Returned:
    letter: Letter = parse(raw, office_addresses=frozenset({"ballots@county.example"}))
    assert letter.returned is not None
    return letter.returned


def test_a_standard_report_names_message_recipient_and_reason() -> None:
    found = _returned(_report(_status("5.1.1", "550 5.1.1 <ada@home.example>: user unknown")))
    assert found.message_ids[0] == OURS
    assert found.recipients == ("ada@home.example",)
    assert found.subject == "Your new ballot"
    assert found.final
    assert found.reason == "there is no such mailbox"
    assert found.told == "550 5.1.1 <ada@home.example>: user unknown"


@pytest.mark.parametrize("copy", ["text/rfc822-headers", "message/rfc822-headers", "message/rfc822"])
def test_the_returned_header_alone_is_enough(copy: str) -> None:
    assert _returned(_report(_status("5.1.1"), copy=copy, original=HEADER)).message_ids[0] == OURS


@pytest.mark.parametrize(
    ("code", "diagnostic", "reason"),
    [
        ("5.2.2", "552 5.2.2 over quota", "the mailbox is full"),
        ("5.2.1", "", "the mailbox is switched off"),
        ("5.1.2", "", "there is no such mail domain"),
        ("5.3.4", "", "the message is too big for the other server"),
        ("4.4.7", "", "it could not be delivered in time"),
        ("5.7.1", "", "the other server refused it"),
        ("5.7.26", "", "the other server refused it"),
        ("5.0.0", "550 5.1.1 no such user", "there is no such mailbox"),
        ("5.0.0", "no such user here", "there is no such mailbox"),
        ("5.0.0", "552 storage exceeded", "the mailbox is full"),
        ("5.0.0", "", "the other server gave it back"),
    ],
)
def test_the_reason_is_told_in_plain_words(code: str, diagnostic: str, reason: str) -> None:
    assert _returned(_report(_status(code, diagnostic))).reason == reason


@pytest.mark.parametrize(
    ("words", "reason"),
    [
        ("User ada@home.example unknown", "there is no such mailbox"),
        ("This user doesn't have a home.example account", "there is no such mailbox"),
        ("Invalid final delivery userid: ada@home.example", "there is no such mailbox"),
        ("L'adresse ada@home.example n'existe pas", "there is no such mailbox"),
        ("Account ada@home.example is overquota", "the mailbox is full"),
        ("postponed due to a full mailbox: ada@home.example", "the mailbox is full"),
        (
            "It exceeded the maximum incoming message size of ada@home.example",
            "the message is too big for the other server",
        ),
        ("554 Too many hops 26 (25 max) to ada@home.example", "it went round in circles"),
        ("The computer of ada@home.example was not reachable", "the other server could not be reached"),
        ("Delivery failed 20 attempts: ada@home.example", "the other server could not be reached"),
        ("ada@home.example: Rejected as spam", "the other server refused it"),
        ("ada@home.example: 550 Requested action not taken", "the mailbox is not there, or does not take it"),
        ("ada@home.example: sorry", "the other server gave it back"),
    ],
)
def test_servers_that_give_no_code_are_understood_by_their_words(words: str, reason: str) -> None:
    assert _returned(_plain(f"Delivery failed.\n\n{words}\n")).reason == reason


def test_the_plain_reason_names_nobody() -> None:
    found = _returned(_report(_status("5.0.0", "550 Requested action not taken for ada@home.example")))
    assert "ada" not in found.reason
    assert "ada@home.example" in found.told


def test_a_notice_of_delay_is_not_final() -> None:
    assert not _returned(_report(_status("4.4.1", action="delayed"))).final


def test_of_several_recipients_only_those_that_failed_are_named() -> None:
    status = (
        "Final-Recipient: rfc822; lou@far.example\nAction: delivered\nStatus: 2.0.0\n\n"
        "Final-Recipient: rfc822; ada@home.example\nAction: failed\nStatus: 5.1.1"
    )
    assert "lou@far.example" not in _returned(_report(status)).recipients


def test_an_old_programs_notice_holds_the_header_in_its_text() -> None:
    text = (
        "Hi. This is the program at mx.home.example. I was unable to deliver your message.\n\n"
        "<ada@home.example>:\nSorry, no mailbox here by that name. (#5.1.1)\n\n"
        f"--- A copy of the message is below.\n\nReturn-Path: <ballots@county.example>\n{HEADER}\nIt is sent.\n"
    )
    found = _returned(_plain(text))
    assert found.message_ids == (OURS,)
    assert found.subject == "Your new ballot"
    assert "ada@home.example" in found.recipients
    assert found.reason == "there is no such mailbox"


def test_a_quoted_header_in_the_text_is_found() -> None:
    text = "Delivery to ada@home.example failed permanently.\n\n" + "".join(
        f"> {line}\n" for line in HEADER.split("\n")
    )
    assert _returned(_plain(text, subject="Undelivered mail")).message_ids == (OURS,)


def test_a_notice_that_only_answers_names_the_message_by_that() -> None:
    raw = _plain("User ada@home.example unknown, message rejected.", head=f"In-Reply-To: {OURS}\n")
    assert _returned(raw).message_ids == (OURS,)


def test_a_notice_that_names_no_message_still_names_recipient_and_subject() -> None:
    raw = _plain("Delivery failed: ada@home.example does not exist.", subject="Undeliverable: Your new ballot")
    found = _returned(raw)
    assert (found.message_ids, found.recipients) == ((), ("ada@home.example",))
    assert found.subject == "Your new ballot"
    assert found.reason == "there is no such mailbox"


def test_failed_recipients_in_the_header_are_read() -> None:
    raw = _plain("It could not be delivered.", head="X-Failed-Recipients: ada@home.example\n")
    assert _returned(raw).recipients == ("ada@home.example",)


@pytest.mark.parametrize(
    "raw",
    [
        b"From: ada@home.example\nSubject: my ballot came back\n\nThe post returned my ballot: no such address.\n",
        b"From: ada@home.example\nSubject: Automatic reply: x\nAuto-Submitted: auto-replied\n\nI am away.\n",
    ],
)
def test_a_voters_letter_and_an_absence_return_nothing(raw: bytes) -> None:
    assert parse(raw).returned is None
