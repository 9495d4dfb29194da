"""The folder of sent mail, as the outbox sees it: a copy of every reply for people who look there, and the witness of
what was handed over when the service stopped before it could write that down."""

from __future__ import annotations

from datetime import datetime
from typing import Protocol


class SentTrouble(Exception):
    """The folder of sent mail cannot be asked or written. The text is for staff and names no voter."""


class SentFolder(Protocol):
    """Where copies of sent replies are kept. Both may raise SentTrouble."""

    def holds(self, message_id: str) -> bool:
        """Whether a message with this Message-ID, with its angle brackets, lies there."""
        ...

    def keep(self, raw: bytes, at: datetime) -> None:
        """Put the copy of a reply there that was sent at this moment."""
        ...
