"""A machine's mail is filed and never answered; a person's mail is never taken for a machine's."""

from __future__ import annotations

from email.message import EmailMessage

import pytest

from replacements.mail.letter import Letter
from replacements.mail.parsing import parse

OFFICE = frozenset({"ballots@county.example"})


def _letter(body: str, subject: str = "ballot", sender: str = "Ada Fenn <ada@home.example>", **headers: str) -> Letter:
    lines = [f"{name.replace('_', '-')}: {value}" for name, value in headers.items()]
    head = "\n".join([f"From: {sender}", f"Subject: {subject}", "Content-Type: text/plain; charset=utf-8", *lines])
    return parse(f"{head}\n\n{body}\n".encode(), office_addresses=OFFICE)


def _code(letter: Letter) -> str:
    return letter.machine.code if letter.machine else ""


OUT_OF_OFFICE = [
    ("Automatic reply: Your ballot", "I am out of the office until Monday and will answer then."),
    ("Out of Office: Your ballot", "Thank you for your message. I have limited access to email this week."),
    ("Respuesta automática: Su boleta", "Estoy de vacaciones hasta el 20 de octubre."),
    ("Fuera de la oficina", "Estaré fuera de la oficina del 5 al 9. Responderé a mi regreso."),
    ("Trả lời tự động: Lá phiếu của quý vị", "Tôi đang nghỉ phép cho đến ngày 20 tháng 10."),
    ("자동 회신: 투표용지 안내", "안녕하세요. 저는 10월 20일까지 휴가 중입니다."),
    ("[부재중] 투표용지 안내", "출장으로 회신이 늦을 수 있습니다."),
    ("Automatische Antwort: Your ballot", "Ich bin bis zum 20. Oktober nicht im Büro."),
    ("Réponse automatique : Your ballot", "Je suis en congés jusqu'au 20 octobre."),
]


@pytest.mark.parametrize(("subject", "body"), OUT_OF_OFFICE)
def test_out_of_office_replies_without_any_header(subject: str, body: str) -> None:
    assert _code(_letter(body, subject)) == "out_of_office"


@pytest.mark.parametrize(("subject", "body"), OUT_OF_OFFICE)
def test_out_of_office_replies_with_the_header(subject: str, body: str) -> None:
    assert _code(_letter(body, subject, Auto_Submitted="auto-replied")) == "out_of_office"


@pytest.mark.parametrize(("subject", "body"), OUT_OF_OFFICE)
def test_a_person_who_answers_an_automatic_message_is_a_person(subject: str, body: str) -> None:
    assert (
        _letter(f"My ballot is torn.\n\nOn 5 Oct 2026 X <x@far.example> wrote:\n> {body}", f"Re: {subject}").machine
        is None
    )


@pytest.mark.parametrize(
    ("subject", "body"),
    [
        (
            "Out of the office",
            "I will be out of the office until the 20th, please mail my ballot to the lake house. Ada Fenn",
        ),
        ("On vacation", "We are on vacation and my ballot got wet. Can you send a new one?"),
        ("ballot", "I am out of town until Friday. My ballot is torn, please send another."),
        (
            "returned mail",
            "My ballot could not be delivered, the post office returned it to you. Please send it again.",
        ),
        (
            "Undeliverable ballot",
            "You said my ballot was undeliverable. The address on the envelope was wrong. ada@home.example",
        ),
        (
            "Undeliverable: my ballot",
            "My mail was returned, please send it again and write to ada@home.example when it is out.",
        ),
        (
            "Delivery failure",
            "The letter with my ballot could not be delivered, says the carrier. Is that so? ada@home.example",
        ),
        ("Out of office", "I am away until the 20th. Please send the ballot to the lake house."),
        ("do not reply", "Please do not reply to my husband, he does not read this. I tore my ballot."),
        ("ballot", "I tore my ballot. Please do not reply to this email, call me at 555-0144."),
        ("Auto: ballot", "I left my ballot in the auto and the window was open."),
        ("Thank you for your message", "You wrote that you received my request. When will the ballot come?"),
        ("Read: instructions", "I read the instructions and tore the ballot anyway."),
        ("Confirmation required", "Your message says that I must confirm. I confirm: born 3 May 1950."),
        ("Ticket #12 on my car", "I went to pay and lost my ballot on the way."),
        ("Cancelled: my first ballot", "I cut it up as you asked."),
        ("Automatic door", "caught my ballot. It is in two halves."),
        ("Vắng mặt", "Tôi vắng mặt khi thư đến, xin gửi lại lá phiếu."),
        ("부재 중 배달", "부재 중이라 투표용지를 못 받았습니다. 다시 보내 주세요."),
        ("Fuera de la ciudad", "Estoy fuera hasta el lunes y mi boleta se mojó."),
    ],
)
def test_a_voters_letter_is_no_machines(subject: str, body: str) -> None:
    assert _letter(body, subject).machine is None


def test_the_prefix_auto_is_no_evidence() -> None:
    assert _letter("I tore my ballot.", "Auto: Re: ballot").machine is None


BOUNCE = (
    "I'm sorry to have to tell you that "
    "your message could not be delivered "
    "to one or more recipients.\n\n"
    "<ada@home.example>: mailbox full\n"
)


@pytest.mark.parametrize(
    ("sender", "subject"),
    [
        ("MAILER-DAEMON@home.example", "Undelivered Mail Returned to Sender"),
        ("Mail Delivery Subsystem <mailer-daemon@home.example>", "Returned mail: see transcript for details"),
        ("postmaster@home.example", "Undeliverable: Your ballot"),
        ("postmaster@home.example", "failure notice"),
        ("Mail Service <gateway@home.example>", "Mail delivery failed: returning message to sender"),
    ],
)
def test_plain_text_bounces_are_known_by_sender_subject_and_words(sender: str, subject: str) -> None:
    copy = (
        "\n------ This is a copy of the message "
        "------\nFrom: ballots@county.example\n"
        "Subject: Your ballot\n\n> My "
        "ballot is spoiled, send another\n"
    )
    assert _code(_letter(BOUNCE + copy, subject, sender)) == "bounce"


def test_a_bounce_that_came_by_a_list_is_a_bounce() -> None:
    assert (
        _code(_letter(BOUNCE, "failure notice", "MAILER-DAEMON@home.example", List_Id="<l.home.example>")) == "bounce"
    )


def test_a_bounce_from_an_unusual_sender_is_known_by_the_servers_code() -> None:
    body = "The following message could not be delivered.\n\nSent: RCPT TO\nReceived: 550 5.1.1 unknown user"
    assert _code(_letter(body, "Mail could not be delivered", "scanner@home.example")) == "bounce"


def test_a_plain_text_delay_is_no_failure() -> None:
    body = (
        "Your message to <ada@home.example> "
        "has not yet been delivered. "
        "We will keep trying for two "
        "days. You do not need to resend."
    )
    assert _code(_letter(body, "Warning: message delayed", "MAILER-DAEMON@home.example")) == "delay"


def test_a_person_at_a_postmaster_address_is_a_person() -> None:
    assert _letter("I tore my ballot, please send another.", "ballot", "Ada <postmaster@fenn.example>").machine is None


@pytest.mark.parametrize(
    ("subject", "body", "sender"),
    [
        (
            "We received your message",
            "Thank you for contacting Fenn Roofing. This mailbox is not monitored.",
            "info@fenn.example",
        ),
        ("Your request", "This is an automated message, please do not reply to this email.", "desk@fenn.example"),
        (
            "Gracias por escribirnos",
            "Recibimos su mensaje. Por favor, no responda a este correo.",
            "taller@fenn.example",
        ),
        ("Đã nhận yêu cầu", "Chúng tôi đã nhận được thư. Vui lòng không trả lời email này.", "info@fenn.example"),
        ("[자동발송] 문의가 접수되었습니다", "본 메일은 발신전용입니다.", "info@fenn.example"),
        (
            "Hello",
            "Please do not reply to this message. Replies to this address are not read.",
            "no-reply@fenn.example",
        ),
    ],
)
def test_automatic_acknowledgements(subject: str, body: str, sender: str) -> None:
    assert _code(_letter(body, subject, sender)) == "acknowledgement"


def test_a_web_form_that_passes_a_voters_words_on_is_no_acknowledgement() -> None:
    letter = _letter(
        "This is an automated message, do not reply to this email.\nMessage: I tore my ballot.",
        "Contact form",
        "no-reply@forms.example",
        Reply_To="ada@home.example",
    )
    assert letter.machine is None


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("List-Id", "<talk.lists.example>"),
        ("List-Unsubscribe", "<mailto:x@lists.example>"),
        ("Precedence", "bulk"),
        ("Precedence", "List"),
        ("Precedence", "junk"),
    ],
)
def test_list_mail(name: str, value: str) -> None:
    assert _code(_letter("Three messages about ballots.", **{name.replace("-", "_"): value})) == "list"


def test_a_read_receipt_in_plain_words() -> None:
    letter = _letter(
        "Your message\n\n  To: Ada\n  Subject: Your ballot\n\nwas read on Monday, October 5, 2026.", "Read: Your ballot"
    )
    assert _code(letter) == "receipt"


def test_a_challenge_asks_the_sender_to_confirm() -> None:
    body = (
        "Your message to Ada is being "
        "held because I block spam. "
        "Click the link below to confirm "
        "that you are a human sender."
    )
    assert _code(_letter(body, "Please confirm your message")) == "challenge"


def test_a_calendar_invitation_is_a_machines() -> None:
    message = EmailMessage()
    message["From"] = "rooms@county.example"
    message["Subject"] = "Invitation: ballot room"
    message.set_content("You are invited.")
    message.add_alternative(
        "BEGIN:VCALENDAR\nMETHOD:REQUEST\nEND:VCALENDAR\n", subtype="calendar", params={"method": "REQUEST"}
    )
    assert _code(parse(message.as_bytes())) == "calendar"


def test_calendar_text_in_the_body_is_a_machines() -> None:
    assert _code(_letter("BEGIN:VCALENDAR\nVERSION:2.0\nMETHOD:REQUEST")) == "calendar"


def test_a_letter_with_a_calendar_file_enclosed_is_a_persons() -> None:
    message = EmailMessage()
    message["From"] = "ada@home.example"
    message.set_content("My ballot is torn; I am home on the enclosed days.")
    message.add_attachment("BEGIN:VCALENDAR\nEND:VCALENDAR\n", subtype="calendar", filename="days.ics")
    assert parse(message.as_bytes()).machine is None


def test_a_copy_of_what_the_office_sent_is_its_own() -> None:
    assert _code(_letter("We mailed your ballot.", sender="County <Ballots@county.example>")) == "own"


def test_a_forged_office_sender_is_not_its_own() -> None:
    results = "mx.county.example; spf=fail smtp.mailfrom=county.example; dmarc=fail header.from=county.example"
    letter = _letter("Void it.", sender="ballots@county.example", Authentication_Results=results)
    assert letter.machine is None


def test_an_empty_return_path_forbids_an_answer() -> None:
    assert _code(_letter("hello", Return_Path="<>")) == "null_return_path"
    assert _letter("hello", Return_Path="<ada@home.example>").machine is None


def test_a_person_who_encloses_a_bounce_is_a_person() -> None:
    report = (
        "From: mailer-daemon@home.example\nContent-Type: multipart/report; report-type=delivery-status; boundary=r\n\n"
        "--r\n\nfailed\n--r\nContent-Type: message/delivery-status\n\nReporting-MTA: dns; x\n\nAction: failed\n--r--\n"
    )
    raw = (
        "From: Ada <ada@home.example>\n"
        "Subject: what is this\nContent-Type: "
        "multipart/mixed; boundary=b\n\n--b\n"
        "\nI got this. Is my request lost?\n"
        f"--b\nContent-Type: message/rfc822\n\n{report}\n--b--\n"
    )
    assert parse(raw.encode()).machine is None
