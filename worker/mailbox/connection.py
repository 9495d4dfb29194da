"""A connection to an IMAP server: always over TLS with the certificate checked, and a time limit on each answer.

Signing in is with a password, with a password on behalf of a shared mailbox (RFC 4616: the one who signs in, and whose
mailbox it is), or with an access token (XOAUTH2, or OAUTHBEARER of RFC 7628), fetched anew where it is refused.
"""

from __future__ import annotations

import ssl
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import Any

from imapclient import IMAPClient
from imapclient.exceptions import CapabilityError, IMAPClientAbortError, IMAPClientError, LoginError

from replacements import access_tokens
from replacements.access_tokens import TokenTrouble
from worker.mailbox.source import MailboxTrouble

SECONDS = 60  # that the server may take for one answer


@dataclass(frozen=True, slots=True)
class ImapPlace:
    """Where a mailbox is. `starttls`: begin in the clear and change to TLS before anything is said. `sign_in`: who
    signs in, where that is another than `user`. `token_command`: prints an access token, in place of the password.
    `put_away`: the folder into which messages move once they are stored; empty: they stay where they are."""

    host: str
    port: int
    user: str
    password: str
    folder: str = "INBOX"
    starttls: bool = False
    ca_file: str = ""
    sign_in: str = ""
    token_command: str = ""
    put_away: str = ""


def connect(place: ImapPlace) -> Any:
    """An IMAPClient, signed in. Raises MailboxTrouble."""
    if not place.token_command:
        return _signed_in(place, "")
    try:
        token = access_tokens.token(place.token_command)
        try:
            return _signed_in(place, token)
        except _Refused:
            return _signed_in(place, access_tokens.token(place.token_command, refused=token))
    except TokenTrouble as trouble:
        raise MailboxTrouble(f"{trouble} Check REPLACEMENTS_MAILBOX_TOKEN_COMMAND.") from trouble


def disconnect(client: Any) -> None:
    """Say goodbye if the server still listens, and let go of the connection in any case."""
    with suppress(IMAPClientError, OSError):
        client.logout()
    with suppress(IMAPClientError, OSError):
        client.shutdown()


class _Refused(MailboxTrouble):
    """The server does not accept the password or the token."""


def _signed_in(place: ImapPlace, token: str) -> Any:
    context = _trusted(place.ca_file)
    client: Any = None
    try:
        with said_plainly(place):
            client = IMAPClient(place.host, place.port, ssl=not place.starttls, ssl_context=context, timeout=SECONDS)
            if place.starttls:
                client.starttls(context)
            try:
                _sign_in(client, place, token)
            except LoginError as error:
                if isinstance(error.__context__, IMAPClientAbortError):  # the line broke, and nobody refused anything
                    raise error.__context__ from None
                what, where = ("token", "_TOKEN_COMMAND") if token else ("password", "_PASSWORD")
                raise _Refused(
                    f"The mail server {place.host} does not accept the {what} for {place.sign_in or place.user}. "
                    f"Check REPLACEMENTS_MAILBOX and REPLACEMENTS_MAILBOX{where}."
                ) from error
    except BaseException:
        if client is not None:
            disconnect(client)
        raise
    return client


def _sign_in(client: Any, place: ImapPlace, token: str) -> None:
    if token and not client.has_capability("AUTH=XOAUTH2") and client.has_capability("AUTH=OAUTHBEARER"):
        client.oauthbearer_login(place.user, token)
    elif token:
        client.oauth2_login(place.user, token)
    elif place.sign_in:
        client.plain_login(place.sign_in, place.password, place.user)
    else:
        client.login(place.user, place.password)


@contextmanager
def said_plainly(place: ImapPlace) -> Iterator[None]:
    """Troubles of the network and the protocol in plain words."""
    where = f"The mail server {place.host}, port {place.port},"
    try:
        yield
    except ssl.SSLCertVerificationError as error:
        raise MailboxTrouble(
            f"{where} shows a certificate that is not trusted ({error.verify_message}). "
            "If it is the office's own, name its authority in REPLACEMENTS_CA_FILE."
        ) from error
    except ssl.SSLError as error:
        raise MailboxTrouble(f"{where} does not speak TLS as it should.") from error
    except ConnectionRefusedError as error:
        raise MailboxTrouble(f"{where} refuses the connection: is it running, and is the port right?") from error
    except TimeoutError as error:
        raise MailboxTrouble(f"{where} does not answer in {SECONDS} seconds.") from error
    except OSError as error:
        raise MailboxTrouble(f"{where} cannot be reached: {error.strerror or type(error).__name__}.") from error
    except CapabilityError as error:
        raise MailboxTrouble(f"{where} does not offer STARTTLS: use imaps:// and its port.") from error
    except IMAPClientError as error:
        raise MailboxTrouble(f"{where} broke off or answered with an error ({type(error).__name__}).") from error


def _trusted(ca_file: str) -> ssl.SSLContext:
    """The system's certificates, or only those in this file."""
    try:
        return ssl.create_default_context(cafile=ca_file or None)
    except OSError as error:  # ssl.SSLError is one, too
        raise MailboxTrouble(
            f"REPLACEMENTS_CA_FILE names {ca_file}, which holds no certificate that can be read."
        ) from error
