"""More machines than people have seen, and people who sound like one: replies of the absent, challenges, delays, lists,
calendars and receipts in four languages, with and without the headers that would tell."""

# ruff: noqa: E501 (a message a line)

from __future__ import annotations

import pytest

from replacements.mail.letter import Letter
from replacements.mail.parsing import parse

OFFICE = frozenset({"ballots@county.example"})


def _letter(body: str, subject: str = "ballot", sender: str = "Ada Fenn <ada@home.example>", *head: str) -> Letter:
    lines = "\n".join([f"From: {sender}", f"Subject: {subject}", "Content-Type: text/plain; charset=utf-8", *head])
    return parse(f"{lines}\n\n{body}\n".encode(), office_addresses=OFFICE)


def _code(letter: Letter) -> str:
    return letter.machine.code if letter.machine else "a person"


AWAY = [
    ("Out of Office Re: Your ballot request", "I'm out of the office with no access to email through Friday, Oct 9."),
    ("Automatic reply: Request 1042", "Thanks for your email! I'm on parental leave and will be back in January."),
    ("Away from my desk", "I am away from my desk this week and will answer when I am back on Monday."),
    ("Bea Marlow is out of the office.", "I will be out of the office starting 5 October and will not return until 9."),
    ("Auto-Reply: Re: Request 1042", "I am currently traveling with limited access to messages."),
    ("OOO: Request 1042", "Currently on leave. I will get back to you when I return."),
    ("On vacation Re: Request 1042", "We are on vacation until the 12th. For anything urgent call my deputy."),
    ("Respuesta automática: Solicitud 1042", "Me encuentro de licencia. Volveré el 12 de octubre."),
    (
        "Fuera de la oficina: Solicitud 1042",
        "Gracias por su mensaje. Estoy de viaje y tengo acceso limitado al correo.",
    ),
    ("Autorespuesta: su boleta", "Estaré ausente hasta el lunes. Le responderé cuando regrese."),
    ("Mensaje de ausencia", "Estoy de vacaciones y responderé a partir del 12."),
    ("Ausente: Solicitud 1042", "Estaré sin acceso al correo hasta el 9. Contestaré a mi regreso."),
    ("Trả lời tự động: Yêu cầu 1042", "Cảm ơn quý vị đã gửi thư. Tôi đi công tác đến ngày 12."),
    ("Tự động trả lời: Yêu cầu 1042", "Tôi hiện đang nghỉ phép và sẽ trả lời sau ngày 12 tháng 10."),
    ("Thông báo vắng mặt", "Tôi không có mặt ở văn phòng tuần này, tôi sẽ trả lời khi quay lại."),
    ("Phản hồi tự động: Yêu cầu 1042", "Em đang đi công tác, sẽ trả lời thư vào thứ hai."),
    ("자동 응답: 신청 1042", "현재 출장 중이라 10월 12일 이후에 답변 드리겠습니다."),
    ("부재중 자동 응답: 신청 1042", "휴가로 자리를 비웁니다. 12일에 복귀합니다."),
    ("[자동회신] 신청 1042", "메일 주셔서 감사합니다. 저는 지금 사무실에 없습니다."),
    ("휴가 안내", "이번 주는 휴가라서 회신이 늦습니다."),
    ("Absence : Demande 1042", "Je suis absente jusqu'au 12 octobre et vous répondrai à mon retour."),
    ("Abwesenheitsnotiz: Antrag 1042", "Vielen Dank. Ich bin bis zum 12. Oktober im Urlaub."),
]


@pytest.mark.parametrize(("subject", "body"), AWAY)
def test_an_absent_persons_machine_is_known_by_its_words_alone(subject: str, body: str) -> None:
    assert _code(_letter(body, subject)) == "out_of_office"


@pytest.mark.parametrize(("subject", "body"), AWAY)
@pytest.mark.parametrize("head", ["Auto-Submitted: auto-replied", "X-Autoreply: yes", "Precedence: auto_reply"])
def test_and_by_any_of_the_headers_that_such_machines_write(subject: str, body: str, head: str) -> None:
    assert _code(_letter(body, subject, "Ada <ada@home.example>", head)) == "out_of_office"


@pytest.mark.parametrize(("subject", "body"), AWAY)
def test_a_header_alone_is_enough_whatever_the_words_are(subject: str, body: str) -> None:
    assert _letter("My ballot is torn.", "ballot", "Ada <ada@home.example>", "Auto-Submitted: auto-replied").machine
    assert _letter(body, "hello", "Ada <ada@home.example>", "Auto-Submitted: auto-replied").machine


@pytest.mark.parametrize(
    ("subject", "body"),
    [
        ("ballot", "I am out of office until Monday, my ballot never came."),
        (
            "Out of office until Monday",
            "My ballot never came and I am out of office until Monday. Send another please.",
        ),
        ("OOO: and no ballot", "I am traveling. The ballot you mailed never reached me."),
        ("Away", "I am away at school and will be back on the 20th. The ballot went to my old dorm."),
        ("On leave", "I am on leave from the service until the 12th and my voting papers got soaked."),
        (
            "Vacation",
            "Thank you for your message. We were on vacation and the ballot was not in the box when we returned.",
        ),
        ("Fuera de la oficina", "Estoy de viaje hasta el lunes y la boleta no me ha llegado. ¿Me envían otra?"),
        ("Ausente", "Estaré ausente hasta el 12; mi papeleta está rota y necesito otra."),
        ("De vacaciones", "Estoy de vacaciones. Por favor envíe la boleta a la casa de mi hija."),
        ("Đi vắng", "Tôi đi công tác đến thứ hai, lá phiếu của tôi chưa tới."),
        ("Thông báo vắng mặt", "Tôi vắng mặt hai tuần, lá phiếu bị ướt, xin gửi lại."),
        ("휴가 중", "휴가 중에 우편물이 젖어 투표용지를 못 쓰게 되었습니다."),
        ("부재 중", "출장으로 집을 비운 사이 투표용지가 없어졌습니다. 다시 보내 주세요."),
        ("Re: Automatic reply: Request 1042", "I got your automatic reply. I tore my ballot, as I said."),
        ("Fwd: Out of office", "My son's mail program answered you. He is away; his ballot did not come."),
        ("your automatic reply", "Your automatic reply says to wait. It is two weeks now and no ballot."),
    ],
)
def test_a_voter_who_is_away_is_a_voter(subject: str, body: str) -> None:
    assert _code(_letter(body, subject)) == "a person"


CHALLENGES = [
    (
        "Please confirm your message to Ada",
        "Your message has been held. Click this link to prove that you are a person: https://c.example/1",
    ),
    (
        "Sender verification required",
        "I use a spam blocker. Your email is pending; reply to this message to be let through.",
    ),
    (
        "Confirm that you are human",
        "To protect me from junk mail, your message waits. Click to confirm that you are a person.",
    ),
    (
        "Action required: verify your email",
        "This message is on hold until the sender is verified. Follow https://c.example/2",
    ),
    (
        "[Challenge] Your ballot",
        "Your mail has not yet been delivered. Press reply to confirm that you are the sender.",
    ),
    (
        "Verify you are human to reach ada@home.example",
        "Your message is waiting. Click the link below and it will be delivered.",
    ),
    (
        "Your message to ada@home.example awaits verification",
        "Mail from unknown senders is blocked as spam. Click here once: https://c.example/3",
    ),
    (
        "Confirme su mensaje",
        "Su correo está retenido. Haga clic en el enlace para confirmar que usted es el remitente.",
    ),
    (
        "Verificación del remitente",
        "Su mensaje no ha sido entregado todavía. Haga clic en el enlace: https://c.example/4",
    ),
    ("Xác nhận người gửi", "Thư của quý vị đang được giữ lại. Vui lòng bấm vào link để xác minh người gửi."),
    ("발신자 인증 요청", "메일이 스팸 차단으로 보류되었습니다. 아래 링크를 클릭하여 발신자임을 확인해 주세요."),
]


@pytest.mark.parametrize(("subject", "body"), CHALLENGES)
def test_a_challenge_is_a_machines_whatever_its_language(subject: str, body: str) -> None:
    assert _code(_letter(body, subject)) == "challenge"


@pytest.mark.parametrize(
    ("subject", "body"),
    [
        ("Please confirm", "Please confirm that you got my mail about the torn ballot."),
        ("Confirm you received this", "Did my message arrive? My ballot was blocked at the dorm's mailroom as junk."),
        ("verification", "You ask me to verify who I am: Ada Fenn, born 3 May 1950. Please mail the new ballot."),
        ("Your message is on hold?", "Your page says my request is pending. My ballot is torn, is it on hold?"),
        ("click to confirm", "Your letter says to click a link to confirm; I have no computer. I lost the ballot."),
        ("Confirme su mensaje por favor", "Su carta pide confirmar mi dirección y no sé cómo. Se me rompió la boleta."),
        ("Re: Please confirm your message", "I confirm that I am a person. I spoiled my ballot."),
    ],
)
def test_a_voter_who_speaks_of_confirming_is_a_voter(subject: str, body: str) -> None:
    assert _code(_letter(body, subject)) == "a person"


@pytest.mark.parametrize(
    ("subject", "body", "code"),
    [
        (
            "Delivery Status Notification (Delay)",
            "There was a temporary problem delivering your message. We will retry for two days.",
            "delay",
        ),
        (
            "Warning: could not send message for past 4 hours",
            "This is a warning message only. You do not need to resend.",
            "delay",
        ),
        (
            "Delayed Mail (still being retried)",
            "Your message could not be delivered for 4 hours. It will be retried.",
            "delay",
        ),
        ("Retraso en la entrega", "Su mensaje aún no se ha entregado; se seguirá intentando.", "delay"),
        ("메일 전송 지연 안내", "메일이 아직 전달되지 않았습니다. 다시 시도하겠습니다.", "delay"),
        (
            "Undelivered Mail Returned to Sender",
            "<ada@home.example>: host mx.home.example said: 550 5.1.1 no such user",
            "bounce",
        ),
        (
            "Mail delivery failed",
            "A message that you sent could not be delivered: ada@home.example, mailbox full",
            "bounce",
        ),
        ("No se puede entregar: Solicitud 1042", "No se pudo entregar el mensaje a ada@home.example.", "bounce"),
        ("Không gửi được: Yêu cầu 1042", "Không thể gửi thư đến ada@home.example. 550 5.1.1", "bounce"),
        ("배달되지 않음: 신청 1042", "ada@home.example 에게 메일을 배달하지 못했습니다. 550 5.1.1", "bounce"),
        (
            "Re: Request 1042: non remis (delivery failed)",
            "Votre message n'a pas pu etre remis. Your message could not be delivered to ada@home.example",
            "bounce",
        ),
    ],
)
@pytest.mark.parametrize("sender", ["Mail Delivery System <mailer-daemon@home.example>", "Gate <gate@home.example>"])
def test_delays_and_failures_from_daemons_and_from_nobody_known(
    subject: str, body: str, code: str, sender: str
) -> None:
    if sender.startswith("Gate") and code == "delay" and "@" not in body:
        sender = "postmaster@home.example"
    assert _code(_letter(body, subject, sender)) == code


@pytest.mark.parametrize(
    ("subject", "body"),
    [
        ("Fwd: Undelivered Mail Returned to Sender", "I wrote you and got this back. My ballot is torn.\n\n---------- Forwarded message ---------\nFrom: mailer-daemon@home.example\nSubject: Undelivered Mail\n\n<ballots@county.example>: 550 5.1.1 no such user"),
        ("Undelivered Mail Returned to Sender", "This is what your mailbox sent me. I need another ballot, mine is stained.\n\n> <ballots@county.example>: host said: 550 5.1.1"),
        ("your email bounced", "My answer to you could not be delivered, so I write again: the ballot never came."),
        ("Mail delivery failed", "The mail carrier failed to deliver my ballot. Please mail a new one to 5 Fern Lane."),
        ("failure notice", "Your notice says that my ballot was returned. I live at 5 Fern Lane, send it again please."),
        ("Delivery delayed", "The post told me that the ballot is delayed. It is the 30th now. Please send another."),
        ("No se pudo entregar", "El cartero dice que no se pudo entregar la boleta. ¿Me mandan otra?"),
    ],
)  # fmt: skip
def test_a_person_who_passes_a_bounce_on_is_a_person(subject: str, body: str) -> None:
    assert _code(_letter(body, subject)) == "a person"


@pytest.mark.parametrize(
    "head",
    [
        "List-Id: Neighbours <n.lists.example>",
        "List-Unsubscribe: <mailto:off@lists.example>",
        "List-Post: NO",
        "List-Help: <mailto:help@lists.example>",
        "Precedence: list",
        "Precedence: bulk",
    ],
)
def test_a_list_is_known_by_any_of_its_fields(head: str) -> None:
    assert _code(_letter("Reminder: my ballot is torn, said one.", "[n] ballots", "n@lists.example", head)) == "list"


@pytest.mark.parametrize("path", ["<>", " < > ", "<\t>", "(empty) <>"])
def test_an_empty_return_path_however_it_is_written(path: str) -> None:
    assert _code(_letter("hello", "hi", "x@home.example", f"Return-Path: {path}")) == "null_return_path"


@pytest.mark.parametrize(
    ("subject", "body"),
    [
        ("Read: Request 1042", "Your message to Ada was read on 5 October 2026."),
        ("Not read: Request 1042", "Your message was deleted without being read; it was displayed to nobody."),
        ("Leído: Solicitud 1042", "Su mensaje fue leído el 5 de octubre."),
        ("Đã đọc: Yêu cầu 1042", "Thư của quý vị gửi cho Ada đã được đọc ngày 5."),
        ("읽음: 신청 1042", "보내신 메일을 10월 5일에 읽었습니다."),
        ("Return receipt", "This is a return receipt for the mail that you sent to ada@home.example."),
    ],
)
def test_receipts_in_plain_words(subject: str, body: str) -> None:
    assert _code(_letter(body, subject)) == "receipt"


@pytest.mark.parametrize("method", ["REQUEST", "REPLY", "CANCEL", "COUNTER"])
def test_rfc_5546_methods_are_calendar_mail(method: str) -> None:
    body = f"--b\nContent-Type: text/plain\n\nSee you there.\n--b\nContent-Type: text/calendar; method={method}\n\nBEGIN:VCALENDAR\n--b--"
    raw = f"From: ada@home.example\nSubject: meet\nContent-Type: multipart/alternative; boundary=b\n\n{body}\n"
    assert _code(parse(raw.encode())) == "calendar"


@pytest.mark.parametrize("subject", ["Accepted: ballot day", "Aceptado: cita", "수락: 약속"])
def test_an_answer_to_an_invitation_as_a_file_alone_is_calendar_mail(subject: str) -> None:
    raw = (
        f"From: ada@home.example\nSubject: {subject}\nContent-Type: text/calendar; name=a.ics\n"
        "Content-Disposition: attachment\n\nBEGIN:VCALENDAR\n"
    )
    assert _code(parse(raw.encode())) == "calendar"
