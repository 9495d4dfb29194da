"""The folder of sent mail on the office's IMAP server. The connection is made when it is first needed."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from typing import Any

from imapclient.exceptions import IMAPClientError
from imapclient.imapclient import SEEN, SENT

from replacements.replies.sent_folder import SentTrouble
from replacements.settings import Settings
from worker.mailbox.connection import ImapPlace, connect, disconnect, said_plainly
from worker.mailbox.opening import addresses, imap_place, is_imap
from worker.mailbox.source import MailboxTrouble

USUAL = "Sent"


def open_sent(settings: Settings) -> ImapSent | None:
    """The folder that gets copies of replies; None where replies do not go by mail, there is no IMAP mailbox, or the
    office wants none. Raises SentTrouble where the mailbox's address cannot be understood."""
    imap = [address for address in addresses(settings) if is_imap(address)]
    if not imap or settings.outbox.startswith("maildir:") or settings.sent.lower() == "no":
        return None
    try:
        return ImapSent(imap_place(settings, imap[0]), settings.sent)
    except MailboxTrouble as trouble:
        raise SentTrouble(str(trouble)) from trouble


class ImapSent:
    """A folder on the server of this place, made where it is missing. `folder` empty: the one that the server names."""

    def __init__(self, place: ImapPlace, folder: str = "") -> None:
        self._place = place
        self._folder = folder
        self._client: Any = None

    def holds(self, message_id: str) -> bool:
        with self._open() as client:
            client.select_folder(self._folder, readonly=True)
            return bool(client.search(["HEADER", "Message-ID", message_id]))

    def keep(self, raw: bytes, at: datetime) -> None:
        with self._open() as client:
            client.append(self._folder, raw, flags=[SEEN], msg_time=at)

    def close(self) -> None:
        if self._client is not None:
            disconnect(self._client)
            self._client = None

    @contextmanager
    def _open(self) -> Iterator[Any]:
        try:
            if self._client is None:
                self._client = connect(self._place)
                with said_plainly(self._place):
                    self._folder = self._folder or self._client.find_special_folder(SENT) or USUAL
                    if not self._client.folder_exists(self._folder):
                        self._client.create_folder(self._folder)
            with said_plainly(self._place):
                yield self._client
        except MailboxTrouble as trouble:
            self.close()
            cause = trouble.__cause__
            full = isinstance(cause, IMAPClientError) and "QUOTA" in str(cause).upper()
            why = "The mailbox has no room left." if full else str(trouble)
            raise SentTrouble(f"The folder of sent mail cannot be used. {why}") from trouble
