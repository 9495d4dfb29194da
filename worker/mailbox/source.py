"""What a mailbox is to the rest of the service: a row of messages that were not seen yet."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Protocol

# Whether the message with this (validity, uid) is already kept; asked before a message is fetched.
Seen = Callable[[str, str], bool]


@dataclass(frozen=True, slots=True)
class Found:
    """One message as it lies in the mailbox. (source, validity, uid) names it; `raw`: its bytes, unchanged; only the
    beginning of them where the message is larger than the service takes in, which `told` of its source then says."""

    uid: str
    validity: str
    raw: bytes


class MailboxTrouble(Exception):
    """The mailbox cannot be read. The text is for the person who runs the service and holds no password."""


class MailSource(Protocol):
    """A mailbox. `name` stays the same from one run to the next."""

    @property
    def name(self) -> str: ...

    @property
    def told(self) -> str:
        """What a person should look at in the mailbox, in whole sentences; empty where all is in order."""
        ...

    @property
    def at_hand(self) -> int:
        """How many messages are fetched already and come next, so that they can be stored together."""
        ...

    def new_messages(self, seen: Seen) -> Iterator[Found]:
        """Messages that are not kept yet, oldest first, a few fetched at a time; where very many wait, everybody's
        first before anybody's second. Nothing is marked by this but messages that `seen` knows and the mailbox does not
        show as done (the service was stopped in between). One message that cannot be fetched holds up no other."""
        ...

    def mark_done(self, *found: Found) -> None:
        """Tell the mailbox that these messages are kept. Called after they were stored, never before."""
        ...

    def put_away(self) -> None:
        """Move what is marked as kept into the folder for it, where the office wants that."""
        ...

    def close(self) -> None: ...
