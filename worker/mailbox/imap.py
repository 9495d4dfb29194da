"""A mailbox on an IMAP server (RFC 3501, RFC 9051), always over TLS with the server's certificate checked.

A message is named by the folder's UIDVALIDITY and its UID. Fetching never sets a flag (BODY.PEEK); what is kept gets a
keyword that carries the UIDVALIDITY, so that a folder that was made anew is read anew. \\Seen is not used to know what
is done: a person who looks into the mailbox must not make a request disappear.
"""

from __future__ import annotations

import ssl
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import Any

from imapclient import IMAPClient
from imapclient.exceptions import CapabilityError, IMAPClientAbortError, IMAPClientError, LoginError

from worker.mailbox.source import Found, MailboxTrouble, Seen

SECONDS = 60  # that the server may take for one answer
_CHECKED_LATEST = 5


@dataclass(frozen=True, slots=True)
class ImapPlace:
    """Where a mailbox is. `starttls`: begin in the clear and change to TLS before anything is said."""

    host: str
    port: int
    user: str
    password: str
    folder: str = "INBOX"
    starttls: bool = False
    ca_file: str = ""


class ImapSource:
    """One folder of an IMAP server, opened at once; `MailboxTrouble` where that is not possible."""

    def __init__(self, place: ImapPlace) -> None:
        self._place = place
        self._client: Any = None
        context = _trusted(place.ca_file)
        with self._said_plainly():
            self._client = IMAPClient(
                place.host, place.port, ssl=not place.starttls, ssl_context=context, timeout=SECONDS
            )
            if place.starttls:
                self._client.starttls(context)
        try:
            self._sign_in()
            self._open_folder()
        except MailboxTrouble:
            self.close()
            raise

    @property
    def name(self) -> str:
        return f"imap:{self._place.user}@{self._place.host}/{self._place.folder}"

    def new_messages(self, seen: Seen) -> Iterator[Found]:
        for uid in self._waiting(seen):
            if seen(self._validity, str(uid)):
                self._mark(uid)
                continue
            with self._said_plainly():
                answer = self._client.fetch([uid], ["BODY.PEEK[]"])
            raw = answer.get(uid, {}).get(b"BODY[]")
            if raw is not None:  # a message that was deleted in this moment has none
                yield Found(str(uid), self._validity, bytes(raw))

    def mark_done(self, found: Found) -> None:
        if found.validity == self._validity:
            self._mark(int(found.uid))

    def close(self) -> None:
        if self._client is not None:
            with suppress(IMAPClientError, OSError):
                self._client.logout()
            with suppress(IMAPClientError, OSError):
                self._client.shutdown()

    def _sign_in(self) -> None:
        with self._said_plainly():
            try:
                self._client.login(self._place.user, self._place.password)
            except LoginError as error:
                raise MailboxTrouble(
                    f"The mail server {self._place.host} does not accept the password for {self._place.user}. "
                    "Check REPLACEMENTS_MAILBOX and REPLACEMENTS_MAILBOX_PASSWORD."
                ) from error

    def _open_folder(self) -> None:
        place = self._place
        with self._said_plainly():
            try:
                state = self._client.select_folder(place.folder)
            except (IMAPClientError, ValueError) as error:
                if isinstance(error, IMAPClientAbortError):
                    raise
                raise MailboxTrouble(
                    f"The mail server {place.host} has no folder {place.folder} for {place.user}."
                ) from error
        self._validity = str(state.get(b"UIDVALIDITY", "0"))
        allowed = state.get(b"PERMANENTFLAGS", ())
        self._keyword = f"ReplacementsKept{self._validity}".encode() if b"\\*" in allowed else b""

    def _waiting(self, seen: Seen) -> list[int]:
        """UIDs to look at. Where the latest marked ones are not known to the caller (its database was put back to an
        earlier day), or where the server takes no marks, every message is looked at."""
        with self._said_plainly():
            if self._keyword:
                marked = sorted(self._client.search(["KEYWORD", self._keyword]))
                if all(seen(self._validity, str(uid)) for uid in marked[-_CHECKED_LATEST:]):
                    return sorted(self._client.search(["UNKEYWORD", self._keyword]))
            return sorted(self._client.search(["ALL"]))

    def _mark(self, uid: int) -> None:
        if self._keyword:
            with self._said_plainly():
                self._client.add_flags([uid], [self._keyword], silent=True)

    @contextmanager
    def _said_plainly(self) -> Iterator[None]:
        """Troubles of the network and the protocol in plain words."""
        place = self._place
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
