"""The SMTP transport against a real server on a free port of this machine."""

from __future__ import annotations

import shutil
import socket
import subprocess
from collections.abc import Iterator
from pathlib import Path
from ssl import PROTOCOL_TLS_SERVER, SSLContext
from typing import Any

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult, Envelope, LoginPassword, Session

from replacements.replies.transport import (
    MaildirTransport,
    PermanentTrouble,
    ServerTrouble,
    SmtpTransport,
    TemporaryTrouble,
    TransportSetting,
    open_transport,
)

MAIL = b"From: ballots@quillhaven.example\r\nSubject: Your ballot\r\n\r\n.one dot\nThe end\n"


class Office:
    """The server's other side: what came, and what to answer to whom."""

    def __init__(self) -> None:
        self.came: list[Envelope] = []
        self.tls: list[bool] = []

    async def handle_RCPT(self, server: Any, session: Session, envelope: Envelope, to: str, options: list[str]) -> str:
        answers = {"gone@inbox.example": f"550 5.1.1 <{to}> unknown", "busy@inbox.example": "450 4.2.0 greylisted"}
        if to in answers:
            return answers[to]
        envelope.rcpt_tos.append(to)
        return "250 OK"

    async def handle_DATA(self, server: Any, session: Session, envelope: Envelope) -> str:
        if b"Reject" in (envelope.original_content or b""):
            return "554 5.7.1 not wanted"
        self.came.append(envelope)
        self.tls.append(session.ssl is not None)
        return "250 taken"


def sign_in(server: Any, session: Session, envelope: Envelope, mechanism: str, data: Any) -> AuthResult:
    right = isinstance(data, LoginPassword) and (data.login, data.password) == (b"office", b"tall-lantern")
    return AuthResult(success=right, handled=right)


@pytest.fixture
def office() -> Office:
    return Office()


@pytest.fixture
def plain(office: Office) -> Iterator[int]:
    controller = Controller(office, hostname="127.0.0.1", port=_free_port())
    controller.start()
    yield controller.port
    controller.stop()


@pytest.fixture(scope="module")
def certificate(tmp_path_factory: pytest.TempPathFactory) -> Path:
    if shutil.which("openssl") is None:
        pytest.skip("openssl is not installed")
    folder = tmp_path_factory.mktemp("certificate")
    command = (
        "openssl req -x509 -newkey rsa:2048 -nodes -days 2 -subj /CN=localhost -addext subjectAltName=DNS:localhost"
    )
    made = subprocess.run(
        [*command.split(), "-keyout", str(folder / "key.pem"), "-out", str(folder / "crt.pem")],
        capture_output=True,
        check=False,
    )
    if made.returncode:
        pytest.skip("openssl cannot make a certificate here")
    return folder


@pytest.fixture
def starttls(office: Office, certificate: Path) -> Iterator[int]:
    context = SSLContext(PROTOCOL_TLS_SERVER)
    context.load_cert_chain(certificate / "crt.pem", certificate / "key.pem")
    controller = Controller(
        office,
        hostname="localhost",
        port=_free_port(),
        tls_context=context,
        require_starttls=True,
        auth_required=True,
        authenticator=sign_in,
    )
    controller.start()
    yield controller.port
    controller.stop()


@pytest.fixture
def tls(office: Office, certificate: Path) -> Iterator[int]:
    context = SSLContext(PROTOCOL_TLS_SERVER)
    context.load_cert_chain(certificate / "crt.pem", certificate / "key.pem")
    controller = Controller(office, hostname="localhost", port=_free_port(), ssl_context=context)
    controller.start()
    yield controller.port
    controller.stop()


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def send(url: str, *, to: str = "voter@inbox.example", raw: bytes = MAIL, password: str = "", ca: str = "") -> None:
    open_transport(url, password, ca).send(
        raw, to=to, sender="ballots@quillhaven.example", message_id="<1@quillhaven.example>"
    )


def test_a_reply_arrives_whole(office: Office, plain: int) -> None:
    send(f"smtp://127.0.0.1:{plain}")
    (envelope,) = office.came
    assert envelope.mail_from == "ballots@quillhaven.example"
    assert envelope.rcpt_tos == ["voter@inbox.example"]
    assert envelope.original_content == MAIL.replace(b"\r\n", b"\n").replace(b"\n", b"\r\n")


def test_a_mailbox_that_does_not_exist_is_for_good(plain: int) -> None:
    with pytest.raises(PermanentTrouble) as found:
        send(f"smtp://127.0.0.1:{plain}", to="gone@inbox.example")
    assert "550" in str(found.value)
    assert "gone@" not in str(found.value)


def test_a_busy_mailbox_is_for_now(plain: int) -> None:
    with pytest.raises(TemporaryTrouble) as found:
        send(f"smtp://127.0.0.1:{plain}", to="busy@inbox.example")
    assert not isinstance(found.value, ServerTrouble)


def test_a_refused_message_is_for_good(plain: int) -> None:
    with pytest.raises(PermanentTrouble, match="554"):
        send(f"smtp://127.0.0.1:{plain}", raw=b"Subject: Reject\r\n\r\nx\r\n")


def test_an_address_beyond_ascii_goes_where_the_server_takes_it(office: Office, plain: int) -> None:
    send(f"smtp://127.0.0.1:{plain}", to="josé@bücher.example")
    assert office.came[0].rcpt_tos == ["josé@xn--bcher-kva.example"]


def test_a_reply_goes_encrypted_and_signed_in(office: Office, starttls: int, certificate: Path) -> None:
    url = f"smtp+starttls://office@localhost:{starttls}"
    send(url, password="tall-lantern", ca=str(certificate / "crt.pem"))
    assert office.tls == [True]


def test_a_wrong_password_is_said_in_plain_words(office: Office, starttls: int, certificate: Path) -> None:
    url = f"smtp+starttls://office@localhost:{starttls}"
    with pytest.raises(ServerTrouble, match="refused the user name or the password") as found:
        send(url, password="short-lantern", ca=str(certificate / "crt.pem"))
    assert "REPLACEMENTS_OUTBOX_PASSWORD" in str(found.value)
    assert "short-lantern" not in str(found.value)
    assert not office.came


def test_tls_from_the_first_byte(office: Office, tls: int, certificate: Path) -> None:
    send(f"smtps://localhost:{tls}", ca=str(certificate / "crt.pem"))
    assert len(office.came) == 1


@pytest.mark.parametrize("scheme", ["smtps", "smtp+starttls"])
def test_a_certificate_that_nobody_vouches_for_is_refused(office: Office, tls: int, starttls: int, scheme: str) -> None:
    with pytest.raises(ServerTrouble, match="certificate"):
        send(f"{scheme}://localhost:{tls if scheme == 'smtps' else starttls}")
    assert not office.came


def test_encryption_is_never_silently_left_out(office: Office, plain: int) -> None:
    for scheme in ("smtp+starttls", "smtps"):
        with pytest.raises(ServerTrouble):
            send(f"{scheme}://127.0.0.1:{plain}")
    assert not office.came


def test_a_server_that_is_not_there_concerns_all_mail() -> None:
    with pytest.raises(ServerTrouble, match="cannot be reached"):
        send(f"smtp://127.0.0.1:{_free_port()}")


def test_settings_are_read_in_the_forms_that_are_documented(tmp_path: Path) -> None:
    assert open_transport(f"maildir:{tmp_path}") == MaildirTransport(tmp_path)
    assert open_transport("smtp://post.example") == SmtpTransport("post.example", 25)
    assert open_transport("smtp+starttls://a%40b.example@post.example", "x") == SmtpTransport(
        "post.example", 587, "starttls", "a@b.example", "x"
    )
    assert open_transport("smtps://me@post.example:1465").port == 1465  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    "url",
    [
        "",
        "maildir:",
        "smtp://",
        "http://post.example",
        "smtps://a:b@post.example",
        "smtp://a@post.example",
        "smtp://x:y",
    ],
)
def test_a_setting_that_cannot_be_used_says_what_was_expected(url: str) -> None:
    with pytest.raises(TransportSetting) as found:
        open_transport(url, "secret")
    assert "REPLACEMENTS_OUTBOX" in str(found.value)
    assert "secret" not in str(found.value)
