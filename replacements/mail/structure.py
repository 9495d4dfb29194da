"""The MIME tree of a message, read within fixed limits so that no message, however built, takes more than linear time.

Sources: RFC 5322 (header fields), RFC 2045, 2046 (types, transfer encodings, multiparts), RFC 2231 (parameters).
The tree is split here rather than by the standard library's parser, whose cost grows with the depth of nesting.
"""

from __future__ import annotations

import binascii
import itertools
import mimetypes
import re
import string
from dataclasses import dataclass, field
from email.message import Message

from replacements.mail.headers import decode_words
from replacements.mail.letter import Notice, UnreadableMail

MAX_DEPTH = 20  # nested multiparts and attached messages
MAX_PARTS = 200
MAX_HEAD = 512 * 1024  # bytes of header, of the message or of one part
MAX_FIELDS = 1000
MAX_FIELD = 64 * 1024  # bytes of one header field
MAX_PARAMETERS = 4 * 1024  # bytes of a Content-* field that are looked at
MAX_TEXT = 2 * 1024 * 1024  # bytes of text that are read, over all parts

_FIELD = re.compile(rb"^([!-9;-~]{1,200})[ \t]*:(.*)$", re.DOTALL)
_NO_TEXT = re.compile(rb"[\x00-\x08\x0e-\x1a\x1c-\x1f\x7f]")
_NO_BASE64 = bytes(set(range(256)) - set((string.ascii_letters + string.digits + "+/").encode()))
_BLANK_LINE = re.compile(rb"\n[ \t]*\n")
_MISSING_PARTS = "Some parts were left unread: the message holds more of them, or deeper ones, than are read."


@dataclass(slots=True)
class Node:
    """One entity of the tree. `fields` are (lower-case name, unfolded raw value) in order; `body` is still encoded."""

    fields: tuple[tuple[str, bytes], ...]
    content_type: str
    charset: str
    method: str  # of a calendar
    report_type: str
    flowed: bool
    delete_space: bool
    disposition: str
    name: str
    encoding: str
    body: bytes
    children: list[Node] = field(default_factory=list)

    def first(self, name: str) -> bytes:
        """The topmost value of this field, or nothing."""
        return next((value for key, value in self.fields if key == name), b"")

    def all(self, name: str) -> list[bytes]:
        return [value for key, value in self.fields if key == name]

    def has(self, name: str) -> bool:
        return any(key == name for key, _ in self.fields)


@dataclass(slots=True)
class Allowance:
    """What is left of the limits while one message is read, and the notices that came up on the way."""

    parts_left: int = MAX_PARTS
    text_left: int = MAX_TEXT
    notices: dict[str, str] = field(default_factory=dict)

    def notice(self, code: str, text: str) -> None:
        self.notices.setdefault(code, text)

    def as_notices(self) -> tuple[Notice, ...]:
        return tuple(Notice(code, text) for code, text in self.notices.items())


def read_tree(raw: bytes, allowance: Allowance) -> Node:
    """Split a whole message into its tree. A text without any header line is read as a body, with a notice; what is
    neither mail nor text is `UnreadableMail`."""
    text = raw.replace(b"\r\n", b"\n").replace(b"\r", b"\n").lstrip(b"\n")
    if text.startswith(b"From "):  # the separator line of an mbox file
        text = text.partition(b"\n")[2]
    if not text.strip():
        raise UnreadableMail("The message is empty.")
    node = _read_node(text, allowance, depth=0, default_type="text/plain")
    if not node.fields:
        if not _is_plain_text(text):
            raise UnreadableMail("The message has no header line, and is not a text.")
        allowance.notice(
            "no_header", "The message came without any header: who sent it, and when, is not known. Its text was read."
        )
        node.body = text
    return node


def _is_plain_text(text: bytes) -> bool:
    """Whether bytes without a header can be somebody's words: no control characters, and all of it UTF-8."""
    if _NO_TEXT.search(text):
        return False
    try:
        text.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return True


def read_attached(node: Node, allowance: Allowance, depth: int) -> Node | None:
    """The message inside a message/rfc822 part, or None where it is nested too deeply or holds nothing."""
    body = transfer_decoded(node, allowance).replace(b"\r\n", b"\n").lstrip(b"\n")
    if depth >= MAX_DEPTH or allowance.parts_left <= 0:
        allowance.notice("not_read", _MISSING_PARTS)
        return None
    return _read_node(body, allowance, depth=depth + 1, default_type="text/plain") if body.strip() else None


def transfer_decoded(node: Node, allowance: Allowance, limit: int | None = None) -> bytes:
    """The bytes of a part without their transfer encoding; broken encodings give what can be had, and a notice."""
    body = node.body
    if node.encoding == "base64":
        clean = (body if limit is None else body[: limit * 2]).translate(None, _NO_BASE64)
        usable = len(clean) - (1 if len(clean) % 4 == 1 else 0)
        if len(clean) % 4 == 1 or re.search(rb"[^A-Za-z0-9+/=\s]", body[:4096]):
            allowance.notice(
                "broken_encoding", "Part of the message was damaged on the way (base64); look at the original."
            )
        decoded = binascii.a2b_base64(clean[:usable] + b"=" * (-usable % 4))
    elif node.encoding == "quoted-printable":
        decoded = binascii.a2b_qp(body if limit is None else body[: limit * 3])
        if re.search(rb"=(?![0-9A-Fa-f]{2}|[ \t]*\n|$)", body[:MAX_TEXT]):
            allowance.notice("broken_encoding", "Part of the message was damaged on the way; look at the original.")
    elif node.encoding in ("x-uuencode", "uuencode", "x-uue"):
        decoded = _uudecoded(body if limit is None else body[: limit * 4], allowance)
    else:
        if node.encoding not in ("", "7bit", "8bit", "binary"):
            allowance.notice(
                "broken_encoding", "A part names a transfer encoding that is not known; it was read as it is."
            )
        decoded = body
    return decoded if limit is None else decoded[:limit]


def decoded_size(node: Node) -> int:
    """Bytes of an attachment after decoding, without decoding it."""
    if node.encoding == "base64":
        return len(node.body.translate(None, _NO_BASE64)) * 3 // 4
    if node.encoding == "quoted-printable":
        return len(binascii.a2b_qp(node.body))
    return len(node.body)


def attachment_name(node: Node, number: int) -> str:
    """The file name that the sender gave, without any folder; or a plain made-up one."""
    name = re.split(r"[/\\]", node.name)[-1].strip(". ")[:200]
    if name:
        return name
    kind = "picture" if node.content_type.startswith("image/") else "attachment"
    return f"{kind}-{number}{mimetypes.guess_extension(node.content_type) or ''}"


def read_fields(head: bytes, allowance: Allowance) -> tuple[tuple[str, bytes], ...]:
    """Header fields in order, unfolded. Lines that are none are passed over with a notice."""
    if len(head) > MAX_HEAD:
        allowance.notice("long_header", "The header is longer than what is read; its end was left out.")
        head = head[:MAX_HEAD]
    found: list[tuple[str, list[bytes]]] = []
    for line in head.split(b"\n"):
        if line[:1] in (b" ", b"\t"):
            if found and line.strip():
                found[-1][1].append(line)
            continue
        match = _FIELD.match(line)
        if match is None:
            if line.strip():
                allowance.notice("odd_header", "The header holds lines that belong in no header.")
            continue
        if len(found) >= MAX_FIELDS:
            allowance.notice("long_header", "The header is longer than what is read; its end was left out.")
            break
        found.append((match[1].decode("ascii").lower(), [match[2]]))
    return tuple((name, b"".join(lines).strip()[:MAX_FIELD]) for name, lines in found)


def _read_node(data: bytes, allowance: Allowance, *, depth: int, default_type: str) -> Node:
    allowance.parts_left -= 1
    head, body = _head_and_body(data)
    del data
    node = _described(read_fields(head, allowance), body, default_type)
    del body
    if node.content_type.startswith("multipart/"):
        _split(node, allowance, depth)
    return node


def _head_and_body(data: bytes) -> tuple[bytes, bytes]:
    if data.startswith(b"\n"):
        return b"", data[1:]
    end = _BLANK_LINE.search(data)
    if end is None:
        return data, b""
    return data[: end.start()], data[end.end() :]


def _described(fields: tuple[tuple[str, bytes], ...], body: bytes, default_type: str) -> Node:
    message = Message()
    for name in ("content-type", "content-disposition"):
        value = next((v for k, v in fields if k == name), b"")
        if value:
            message[name] = value[:MAX_PARAMETERS].decode("utf-8", "replace").replace("\n", " ").replace("\0", "")
    content_type = message.get_content_type() if "content-type" in message else default_type
    encoding = next((v for k, v in fields if k == "content-transfer-encoding"), b"")
    return Node(
        fields=fields,
        content_type=content_type,
        charset=_parameter(message, "charset"),
        method=_parameter(message, "method").upper(),
        report_type=_parameter(message, "report-type").lower(),
        flowed=_parameter(message, "format").lower() == "flowed",
        delete_space=_parameter(message, "delsp").lower() == "yes",
        disposition=(message.get("content-disposition", "").partition(";")[0].strip().lower()),
        name=_file_name(message),
        encoding=re.sub(rb"\([^)]*\)|[;\s].*", b"", encoding[:200]).decode("ascii", "replace").strip().lower(),
        body=body,
    )


def _parameter(message: Message, name: str) -> str:
    try:
        value = message.get_param(name)
    except (ValueError, LookupError, TypeError):
        return ""
    if isinstance(value, tuple):
        value = value[2]
    return value.strip().strip("'\"") if isinstance(value, str) else ""


def _file_name(message: Message) -> str:
    try:
        name = message.get_filename()
    except (ValueError, LookupError, TypeError):
        return ""
    return re.sub(r"[\x00-\x1f\x7f]+", " ", decode_words(name)).strip() if isinstance(name, str) else ""


def _boundary(node: Node) -> bytes:
    value = node.first("content-type")[:MAX_PARAMETERS]
    match = re.search(rb'boundary\s*=\s*(?:"([^"]{1,200})"|([^\s;"]{1,200}))', value, re.IGNORECASE)
    return (match[1] or match[2]).rstrip() if match else b""


def _split(node: Node, allowance: Allowance, depth: int) -> None:
    """Cut a multipart at its boundary lines. Without any, it is read as plain text, and a notice says so."""
    boundary = _boundary(node)
    line = re.compile(rb"^--" + re.escape(boundary) + rb"(--)?[ \t]*(?:\n|\Z)", re.MULTILINE)
    # One mark more than there may be parts, and not millions.
    most = max(0, allowance.parts_left) + 2
    found = itertools.islice(line.finditer(node.body), most) if boundary else ()
    marks = [(mark.start(), mark.end(), bool(mark[1])) for mark in found]
    if not marks:
        allowance.notice(
            "broken_structure", "The message says that it has parts, but none is marked; it was read as text."
        )
        node.content_type = "text/plain"
        return
    if depth >= MAX_DEPTH:
        allowance.notice("not_read", _MISSING_PARTS)
        return
    default = "message/rfc822" if node.content_type == "multipart/digest" else "text/plain"
    pieces: list[bytes] = []
    for (_, start, last), following in zip(marks, [*marks[1:], None], strict=True):
        if last:
            break
        pieces.append(node.body[start : following[0] if following else len(node.body)].removesuffix(b"\n"))
    # Nothing here holds a piece while it is read: of a deep tree there are never as many copies as levels.
    node.body = b""
    pieces.reverse()
    while pieces:
        if allowance.parts_left <= 0:
            allowance.notice("not_read", _MISSING_PARTS)
            break
        node.children.append(_read_node(pieces.pop(), allowance, depth=depth + 1, default_type=default))


def _uudecoded(body: bytes, allowance: Allowance) -> bytes:
    pieces: list[bytes] = []
    inside = False
    for line in body.split(b"\n"):
        if line.startswith(b"begin "):
            inside = True
        elif line.strip() == b"end":
            break
        elif inside and line.strip():
            try:
                pieces.append(binascii.a2b_uu(line))
            except binascii.Error:
                allowance.notice("broken_encoding", "Part of the message was damaged on the way; look at the original.")
    return b"".join(pieces) if inside else body
