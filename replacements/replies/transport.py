"""How a reply leaves the house: by SMTP, or into a Maildir where nothing is to be sent (demo, rehearsal, tests)."""

from __future__ import annotations

import hashlib
import os
import re
import smtplib
import ssl
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, Protocol
from urllib.parse import unquote, urlsplit

from replacements import access_tokens
from replacements.access_tokens import TokenTrouble
from replacements.mail.composing import ascii_domain

# One reply takes no longer than eight minutes, however slow the server is at each step: less than its claim in the
# outbox and than the time limit of a task. RFC 5321, section 4.5.3.2, would have one wait longer for the last answer; a
# server that takes so long is looked for in the folder of sent mail.
SECONDS_TO_WAIT = 30
SECONDS_FOR_THE_MESSAGE = 90
FORMS = "maildir:PATH, smtp://host:25, smtp+starttls://user@host:587 or smtps://user@host"
Security = Literal["plain", "starttls", "tls"]
_SCHEMES: dict[str, tuple[Security, int]] = {
    "smtp": ("plain", 25),
    "smtp+starttls": ("starttls", 587),
    "smtps": ("tls", 465),
}


class TemporaryTrouble(Exception):
    """This reply did not go now; it may go later. The text is for staff and names no voter."""


class ServerTrouble(TemporaryTrouble):
    """The mail server takes nothing at all now (not reached, sign-in refused): no fault of any one reply."""


class UncertainTrouble(TemporaryTrouble):
    """The connection broke while the message was handed over: it may have gone. The text begins with UNCERTAIN."""


UNCERTAIN = "It may have gone: "


class PermanentTrouble(Exception):
    """This reply will never go as it is; a person must see it. The text is for staff and names no voter."""


class TransportSetting(Exception):
    """The outbox setting cannot be used, in plain words."""


class Transport(Protocol):
    """One way out. Sends one message to one address; returning means that the other side has taken it over."""

    def send(self, raw: bytes, *, to: str, sender: str, message_id: str) -> None:
        """`raw`: the whole message. `message_id`: its Message-ID, with angle brackets.

        Raises TemporaryTrouble (ServerTrouble where it concerns all mail) or PermanentTrouble.
        """
        ...


@dataclass(frozen=True, slots=True)
class SmtpTransport:
    """A mail server. The certificate is always verified, against `ca_file` where one is given. `token_command` prints
    an access token, with which to sign in by XOAUTH2 in place of the password."""

    host: str
    port: int
    security: Security = "plain"
    user: str = ""
    password: str = ""
    ca_file: str = ""
    token_command: str = ""

    def send(self, raw: bytes, *, to: str, sender: str, message_id: str) -> None:
        to = _envelope(to)
        server = self._open()
        try:
            if server.sock is not None:
                server.sock.settimeout(SECONDS_FOR_THE_MESSAGE)
            options = _options(server, to, raw)
            refused = server.sendmail(sender, [to], re.sub(rb"\r?\n", b"\r\n", raw), mail_options=options)
            if refused:
                raise PermanentTrouble("The mail server refused the address.")
        except smtplib.SMTPRecipientsRefused as error:
            code, _words = next(iter(error.recipients.values()))
            raise _by_code(code, "The mail server refused the address") from None
        except smtplib.SMTPSenderRefused as error:
            raise ServerTrouble(
                f"The mail server refused the office's own address as sender ({_said(error.smtp_code)}). "
                "Check [office] address in the office's rules and the account of REPLACEMENTS_OUTBOX."
            ) from None
        except smtplib.SMTPDataError as error:
            raise _by_code(error.smtp_code, "The mail server refused the message") from None
        except smtplib.SMTPResponseException as error:
            raise _by_code(error.smtp_code, "The mail server refused") from None
        except (smtplib.SMTPException, OSError) as error:
            raise UncertainTrouble(
                f"{UNCERTAIN}the connection to {self.host} broke off ({type(error).__name__})."
            ) from None
        finally:
            _close(server)

    def _open(self) -> smtplib.SMTP:
        """A connection, encrypted and signed in as the setting says."""
        server: smtplib.SMTP | None = None
        try:
            if self.security == "tls":
                server = smtplib.SMTP_SSL(self.host, self.port, timeout=SECONDS_TO_WAIT, context=self._context())
            else:
                server = smtplib.SMTP(self.host, self.port, timeout=SECONDS_TO_WAIT)
            if self.security == "starttls":
                server.starttls(context=self._context())
            server.ehlo_or_helo_if_needed()
            if self.token_command:
                self._sign_in_by_token(server)
            elif self.user:
                server.login(self.user, self.password)
        except TokenTrouble as trouble:
            if server is not None:
                _close(server)
            raise ServerTrouble(f"{trouble} Check REPLACEMENTS_OUTBOX_TOKEN_COMMAND.") from None
        except (smtplib.SMTPException, OSError, UnicodeError) as error:
            if server is not None:
                _close(server)
            raise ServerTrouble(self._why(error)) from None
        return server

    def _sign_in_by_token(self, server: smtplib.SMTP) -> None:
        """A token that is refused is fetched anew, once."""
        token = access_tokens.token(self.token_command)
        try:
            self._xoauth2(server, token)
        except smtplib.SMTPAuthenticationError:
            self._xoauth2(server, access_tokens.token(self.token_command, refused=token))

    def _xoauth2(self, server: smtplib.SMTP, token: str) -> None:
        if "XOAUTH2" not in server.esmtp_features.get("auth", "").upper().split():
            raise smtplib.SMTPNotSupportedError
        # A server that refuses the token first tells why and waits for an empty line.
        line = access_tokens.sign_in_line(self.user, token)
        server.auth("XOAUTH2", lambda challenge=None: line if challenge is None else "")

    def _context(self) -> ssl.SSLContext:
        return ssl.create_default_context(cafile=self.ca_file or None)

    def _why(self, error: Exception) -> str:
        place = f"{self.host}, port {self.port}"
        if isinstance(error, smtplib.SMTPAuthenticationError) and self.token_command:
            return (
                f"The mail server {place} refused the user name or the access token. "
                "Check the user in REPLACEMENTS_OUTBOX and REPLACEMENTS_OUTBOX_TOKEN_COMMAND."
            )
        if isinstance(error, smtplib.SMTPAuthenticationError):
            return (
                f"The mail server {place} refused the user name or the password. "
                "Check the user in REPLACEMENTS_OUTBOX and REPLACEMENTS_OUTBOX_PASSWORD."
            )
        if isinstance(error, ssl.SSLCertVerificationError):
            return (
                f"The certificate of {place} cannot be trusted ({error.verify_message}). "
                "If the office has certificates of its own, name their file in REPLACEMENTS_CA_FILE."
            )
        if isinstance(error, ssl.SSLError):
            return (
                f"No encrypted connection to {place}: the server does not speak TLS there. Check REPLACEMENTS_OUTBOX."
            )
        if isinstance(error, smtplib.SMTPNotSupportedError):
            return f"The mail server {place} offers no {'STARTTLS or ' if self.security == 'starttls' else ''}sign-in."
        if isinstance(error, smtplib.SMTPResponseException):
            return f"The mail server {place} answered {error.smtp_code} and took nothing."
        detail = error.strerror if isinstance(error, OSError) and error.strerror else type(error).__name__
        return f"The mail server {place} cannot be reached: {detail}. Nothing was sent; it is tried again."


@dataclass(frozen=True, slots=True)
class MaildirTransport:
    """A Maildir. The file's name comes from the Message-ID, so the same message twice is one file."""

    path: Path

    def send(self, raw: bytes, *, to: str, sender: str, message_id: str) -> None:
        name = f"{hashlib.sha256(message_id.encode()).hexdigest()[:40]}.replacements"
        try:
            for folder in ("tmp", "new", "cur"):
                (self.path / folder).mkdir(parents=True, exist_ok=True)
            if (self.path / "new" / name).exists() or any((self.path / "cur").glob(f"{name}*")):
                return
            draft = self.path / "tmp" / f"{name}.{os.getpid()}"
            with draft.open("wb") as file:
                file.write(raw)
                file.flush()
                os.fsync(file.fileno())
            draft.replace(self.path / "new" / name)
        except OSError as error:
            raise ServerTrouble(f"The outbox folder {self.path} cannot be written: {error.strerror}.") from error


def open_transport(url: str, password: str = "", ca_file: str = "", token_command: str = "") -> Transport:
    """The transport that a setting names. Raises TransportSetting where it cannot be understood."""
    if url.startswith("maildir:"):
        path = url.removeprefix("maildir:")
        if not path:
            raise TransportSetting(f"REPLACEMENTS_OUTBOX names no folder after 'maildir:'. Expected: {FORMS}.")
        return MaildirTransport(Path(path))
    try:
        parts = urlsplit(url)
        port = parts.port
    except ValueError:
        raise TransportSetting(f"REPLACEMENTS_OUTBOX has no usable host and port. Expected: {FORMS}.") from None
    if parts.scheme not in _SCHEMES or not parts.hostname:
        raise TransportSetting(f"REPLACEMENTS_OUTBOX cannot be understood. Expected: {FORMS}.")
    if parts.password:
        raise TransportSetting("A password stands in REPLACEMENTS_OUTBOX. Put it into REPLACEMENTS_OUTBOX_PASSWORD.")
    security, usual = _SCHEMES[parts.scheme]
    user = unquote(parts.username or "")
    if user and security == "plain" and parts.hostname not in ("localhost", "127.0.0.1", "::1"):
        raise TransportSetting(
            "REPLACEMENTS_OUTBOX would send a password unencrypted. Use smtp+starttls:// or smtps:// with a user."
        )
    if ca_file and not Path(ca_file).is_file():
        raise TransportSetting(f"REPLACEMENTS_CA_FILE names {ca_file}, and there is no such file.")
    if token_command and not user:
        raise TransportSetting("REPLACEMENTS_OUTBOX_TOKEN_COMMAND is set, and REPLACEMENTS_OUTBOX names no user.")
    return SmtpTransport(parts.hostname, port or usual, security, user, password, ca_file, token_command)


def _envelope(to: str) -> str:
    """The address as servers take it: the domain in ASCII."""
    local, _, domain = to.rpartition("@")
    try:
        return f"{local}@{ascii_domain(domain)}"
    except ValueError:
        raise PermanentTrouble("The domain of the address is not a domain name.") from None


def _options(server: smtplib.SMTP, to: str, raw: bytes) -> list[str]:
    options = [] if raw.isascii() or not server.has_extn("8bitmime") else ["BODY=8BITMIME"]
    if not to.isascii():
        if not server.has_extn("smtputf8"):
            raise PermanentTrouble("The address has letters beyond a to z, and the mail server does not take those.")
        options.append("SMTPUTF8")
        server.command_encoding = "utf-8"
    return options


def _by_code(code: int, what: str) -> TemporaryTrouble | PermanentTrouble:
    """4xx is for now, 5xx for good (RFC 5321, 4.2.1). 421 closes the door to all mail."""
    text = f"{what} ({_said(code)})."
    if code == 421:
        return ServerTrouble(text)
    return PermanentTrouble(text) if 500 <= code < 600 else TemporaryTrouble(text)


def _said(code: int) -> str:
    """The server's code; its words are left out, because servers repeat the voter's address in them."""
    meanings = {
        450: "mailbox busy",
        451: "try later",
        452: "no room or too many",
        550: "no such mailbox, or not wanted",
        552: "mailbox full or message too large",
        553: "address not allowed",
        554: "refused",
    }
    meaning = meanings.get(code, "")
    return f"code {code}: {meaning}" if meaning else f"code {code}"


def _close(server: smtplib.SMTP) -> None:
    """Say goodbye; a server that is gone already has taken or not taken the mail by now."""
    try:
        server.quit()
    except (smtplib.SMTPException, OSError):
        server.close()
