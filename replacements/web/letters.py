"""A stored message as a page shows it: its parts in the order in which they matter, its pictures withheld."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from sqlalchemy.orm import Session

from replacements.mail.letter import Letter, UnreadableMail
from replacements.mail.parsing import parse
from replacements.mail.structure import Allowance, Node, attachment_name, read_attached, read_tree, transfer_decoded
from replacements.requests.office import InForce
from replacements.store.tables import Message, RawMail

# Only what a browser draws without running anything, told by the first bytes and not by what the message claims.
_SIGNS = (
    (b"\xff\xd8\xff", "image/jpeg"),
    (b"\x89PNG\r\n\x1a\n", "image/png"),
    (b"GIF87a", "image/gif"),
    (b"GIF89a", "image/gif"),
)
MOST_PICTURES = 20
_MESSAGES = ("message/rfc822", "message/global")


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture of a message. `content_type` is empty where it is of a sort that is not shown."""

    place: int
    name: str
    content_type: str
    data: bytes


def letter_of(session: Session, message: Message, force: InForce | None) -> Letter | None:
    """The message read afresh from its bytes; None where they are gone or cannot be read. What a writer put among the
    lines of a reply that they quote is not told apart yet (`own_words`)."""
    raw = session.get(RawMail, message.id)
    if raw is None:
        return None
    own = frozenset({force.rules.office.address.lower()}) if force else frozenset()
    try:
        return parse(raw.raw, office_addresses=own, received_at=message.arrived_at)
    except UnreadableMail:
        return None


def pictures_of(raw: bytes) -> list[Picture]:
    """The pictures in a message's bytes, in order; none where the bytes are no message."""
    allowance = Allowance()
    try:
        root = read_tree(raw, allowance)
    except UnreadableMail:
        return []
    found: list[Picture] = []
    for node in _nodes(root, allowance, depth=0):
        if len(found) == MOST_PICTURES:
            break
        if node.content_type.startswith("image/"):
            data = transfer_decoded(node, allowance)
            sort = next((kind for sign, kind in _SIGNS if data.startswith(sign)), "")
            if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
                sort = "image/webp"
            found.append(Picture(len(found), attachment_name(node, len(found) + 1), sort, data))
    return found


def _nodes(node: Node, allowance: Allowance, *, depth: int) -> Iterator[Node]:
    """A part and all that is in it, messages that are attached included."""
    yield node
    for child in node.children:
        yield from _nodes(child, allowance, depth=depth)
    if node.content_type in _MESSAGES:
        inner = read_attached(node, allowance, depth)
        if inner is not None:
            yield from _nodes(inner, allowance, depth=depth + 1)
