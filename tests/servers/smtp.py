"""A private SMTP server for tests: it keeps what it is given, and refuses recipients as a test wants it."""

from __future__ import annotations

import base64
from collections.abc import Iterator
from dataclasses import dataclass, field
from email import message_from_bytes, policy
from email.message import EmailMessage

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, AuthResult, Envelope, Session

from tests.servers.ports import free_port


@dataclass(frozen=True)
class Delivered:
    """One message as the server took it."""

    mail_from: str
    recipients: tuple[str, ...]
    raw: bytes

    @property
    def message(self) -> EmailMessage:
        return message_from_bytes(self.raw, policy=policy.default)

    @property
    def message_id(self) -> str:
        return str(self.message["Message-ID"]).strip()


@dataclass
class SmtpServer:
    """A running server. `answers` maps a recipient to what it is refused with ("450 4.2.1 later", "550 5.1.1 unknown");
    `after_data` is the answer to every message as a whole, where a test wants that to go wrong. `hangs_up`: it takes a
    message and is gone before it says so. `tokens`: those that are good at this moment, for XOAUTH2; `refused` counts
    the others that came."""

    host: str
    port: int
    delivered: list[Delivered] = field(default_factory=list)
    answers: dict[str, str] = field(default_factory=dict)
    after_data: str = ""
    hangs_up: bool = False
    tokens: set[str] = field(default_factory=set)
    refused: int = 0

    @property
    def url(self) -> str:
        return f"smtp://{self.host}:{self.port}"

    async def handle_RCPT(
        self, _server: SMTP, _session: Session, envelope: Envelope, address: str, _options: list[str]
    ) -> str:
        if address in self.answers:
            return self.answers[address]
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, _server: SMTP, _session: Session, envelope: Envelope) -> str:
        if self.after_data:
            return self.after_data
        raw = envelope.content if isinstance(envelope.content, bytes) else (envelope.content or "").encode()
        self.delivered.append(Delivered(envelope.mail_from or "", tuple(envelope.rcpt_tos), raw))
        if self.hangs_up:
            _server.transport.abort()
        return "250 Kept"

    async def auth_XOAUTH2(self, server: SMTP, args: list[str]) -> AuthResult:
        said = base64.b64decode(args[1]).decode()
        if said in {f"user=ballots@county.example\x01auth=Bearer {token}\x01\x01" for token in self.tokens}:
            return AuthResult(success=True)
        self.refused += 1
        await server.challenge_auth('{"status":"401"}')  # which the client answers with an empty line
        return AuthResult(success=False, handled=False)


@pytest.fixture
def smtp_server() -> Iterator[SmtpServer]:
    server = SmtpServer("127.0.0.1", free_port())
    controller = Controller(
        server, hostname=server.host, port=server.port, enable_SMTPUTF8=True, auth_require_tls=False
    )
    try:
        controller.start()
    except OSError as error:
        pytest.skip(f"no private SMTP server could be started: {error}")
    yield server
    controller.stop()
