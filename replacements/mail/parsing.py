"""Bytes of a message to a `Letter`. Anything odd becomes a notice; only bytes that are no message are refused."""

from __future__ import annotations

from datetime import UTC, datetime

from replacements.mail.body import contents_of
from replacements.mail.cues import pattern
from replacements.mail.headers import addresses, date_of, header_text, message_ids, received_date
from replacements.mail.letter import Letter, PartLabel, TextPart
from replacements.mail.machine import machine_of
from replacements.mail.parts import labelled
from replacements.mail.returned import returned_of
from replacements.mail.sender import sender_of
from replacements.mail.structure import Allowance, Node, read_tree

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def parse(
    raw: bytes,
    *,
    office_addresses: frozenset[str] = frozenset(),
    office_server: str = "",
    office_name: str = "",
    received_at: datetime | None = None,
) -> Letter:
    """Read one message. `office_addresses`: the office's own, by which its mail server and its own copies are known.
    `office_server`: the name under which that server writes what it found about senders, where the rules say it;
    `office_name`: as the office calls itself, by which somebody who poses as it is known.
    `received_at` (aware) stands in where the message carries no date. Raises `UnreadableMail` for bytes that
    are neither a message nor a text."""
    allowance = Allowance()
    root = read_tree(raw, allowance)
    ours = frozenset(address.strip().lower() for address in office_addresses)
    sender = sender_of(root, ours, allowance, server=office_server, office_name=office_name)
    subject = header_text(root.first("subject"))
    in_reply_to = message_ids(root.first("in-reply-to"))
    contents = contents_of(root, allowance)
    parts = labelled(contents.lines, subject=subject, is_reply=bool(in_reply_to or root.has("references")))
    parts += tuple(TextPart(PartLabel.FORWARDED, text) for text in contents.forwarded)
    if parts and all(part.label in (PartLabel.QUOTED, PartLabel.FORWARDED) for part in parts):
        allowance.notice("nothing_new", "Everything in this message is quoted or forwarded; the writer added no words.")
    new = " ".join(part.text for part in parts if part.label is PartLabel.NEW)
    if any(part.label is PartLabel.QUOTED for part in parts) and pattern("quoting", "below").search(new[:4000]):
        allowance.notice("answers_below", "The writer says that answers stand below; look among the quoted lines.")
    machine = machine_of(root, sender, subject, parts, contents, ours, allowance)
    return Letter(
        message_id=next(iter(message_ids(root.first("message-id"))), ""),
        sender=sender,
        subject=subject,
        arrived=_arrived(root, received_at, allowance),
        parts=parts,
        to=tuple(dict.fromkeys(address for _, address in addresses([*root.all("to"), *root.all("cc")]) if address)),
        in_reply_to=in_reply_to,
        references=message_ids(root.first("references")),
        attachments=tuple(contents.attachments),
        machine=machine,
        returned=returned_of(root, machine, subject, parts, allowance),
        notices=allowance.as_notices(),
    )


def _arrived(root: Node, received_at: datetime | None, allowance: Allowance) -> datetime:
    found = received_date(root.first("received")) or date_of(root.first("date")) or received_at
    if found is None:
        allowance.notice("no_date", "The message carries no date that can be read.")
        return _EPOCH
    return found
