"""What one message says, as data. Built by `replacements.mail.parsing.parse`, read by every room further on."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum


class PartLabel(StrEnum):
    """What a stretch of the visible text is. Only `NEW` is what the writer says now; the rest is context."""

    NEW = "new"
    QUOTED = "quoted"  # an earlier message, quoted in a reply
    SIGNATURE = "signature"  # the block below "-- ", job titles, slogans
    DISCLAIMER = "disclaimer"
    FORWARDED = "forwarded"


class SenderCheck(StrEnum):
    """What the office's own server found about the sender (RFC 8601), `NONE` when it said nothing."""

    PASS = "pass"  # noqa: S105
    FAIL = "fail"
    NONE = "none"


@dataclass(frozen=True, slots=True)
class TextPart:
    """A stretch of visible text with its label, in the order of the message."""

    label: PartLabel
    text: str


@dataclass(frozen=True, slots=True)
class Attachment:
    """A part of the message that is not its text. `size` in bytes after decoding."""

    name: str
    content_type: str
    size: int

    @property
    def is_picture(self) -> bool:
        return self.content_type.startswith("image/")


@dataclass(frozen=True, slots=True)
class Sender:
    """Who sent it. `address` is lower case; empty where the message names none."""

    address: str
    name: str
    reply_to: str = ""
    check: SenderCheck = SenderCheck.NONE


@dataclass(frozen=True, slots=True)
class Machine:
    """Why this is machine mail. `code`: auto_submitted, null_return_path, bounce, delay, receipt, out_of_office,
    list, calendar, acknowledgement, challenge, own (a copy of what the office itself sent)."""

    code: str
    because: str  # the header or the words that say so, for a clerk to read


@dataclass(frozen=True, slots=True)
class Returned:
    """What a bounce or a notice of delay says came back, as far as it says. `message_ids`: with angle brackets, the
    likeliest first; `recipients`: lower case; `final`: nobody tries again."""

    message_ids: tuple[str, ...]
    recipients: tuple[str, ...]
    subject: str
    final: bool
    reason: str  # in plain words, naming nobody
    told: str  # what the servers said; it may name the recipient


@dataclass(frozen=True, slots=True)
class Notice:
    """Something that a person should know about this message: what was not read, what looked odd."""

    code: str
    text: str


@dataclass(frozen=True, slots=True)
class Letter:
    """One message, read. Times are aware. `parts` hold all visible text in order; hidden text is in none of them."""

    message_id: str  # with its angle brackets; empty when the message has none
    sender: Sender
    subject: str
    arrived: datetime
    parts: tuple[TextPart, ...]
    to: tuple[str, ...] = ()
    in_reply_to: tuple[str, ...] = ()
    references: tuple[str, ...] = ()
    attachments: tuple[Attachment, ...] = ()
    machine: Machine | None = None
    returned: Returned | None = None
    notices: tuple[Notice, ...] = field(default=())

    def text(self, *labels: PartLabel) -> str:
        """The visible text under these labels (all of them when none is given), parts joined by a blank line."""
        return "\n\n".join(p.text for p in self.parts if not labels or p.label in labels)

    @property
    def new_text(self) -> str:
        """What the writer says now: no quotes, no signature block, no disclaimer."""
        return self.text(PartLabel.NEW)

    @property
    def pictures(self) -> tuple[str, ...]:
        """File names of pictures; they are withheld from every page until opened with a reason."""
        return tuple(a.name for a in self.attachments if a.is_picture)


class UnreadableMail(Exception):
    """The bytes cannot be read as a message at all. The raw message is kept and a person looks at it."""
