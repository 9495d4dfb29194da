"""The visible text of a message's parts, as lines, and what else is attached."""

from __future__ import annotations

import mimetypes
import re
from dataclasses import dataclass, field, replace

from replacements.mail.charsets import decoded, tidy
from replacements.mail.enclosed import Box, box_contents, signed_content, without_armour
from replacements.mail.headers import header_text
from replacements.mail.letter import Attachment
from replacements.mail.markup import MAX_HTML, MAX_TAGS, Line, visible_lines
from replacements.mail.structure import Allowance, Node, attachment_name, decoded_size, read_attached, transfer_decoded

# A plain part that only says that there is an HTML part (common practice of mail programs).
_STAND_IN = re.compile(
    r"(?:view|read|see|display|open)[^.\n]{0,60}(?:html|browser|online)|html[^.\n]{0,40}(?:mail|e-mail|message|version|viewer)|"
    r"(?:ver|abrir)[^.\n]{0,40}navegador|mime.{0,20}format",
    re.IGNORECASE,
)
_SEALED = ("application/pkcs7-mime", "application/x-pkcs7-mime", "application/pgp-encrypted")
# Reports that `machine` reads, and forms of a text that a few programs show instead of the one that all show.
_NOT_FOR_PEOPLE = (
    "message/delivery-status",
    "message/disposition-notification",
    "text/x-amp-html",
    "text/watch-html",
)
_PAGES = ("text/html", "text/enriched", "text/richtext")
_PAGE = re.compile(r"\s{0,200}<(?:!doctype\s+html|html)\b", re.IGNORECASE)
_BOXES = ("application/ms-tnef", "application/vnd.ms-tnef")
_HIDDEN = "The message holds words that its reader cannot see. They were not read."
MAX_ATTACHMENTS = 200
MAX_LINES = 20_000


@dataclass(slots=True)
class Contents:
    """What a message holds: its visible lines, the messages attached to it, the rest of its parts."""

    lines: list[Line] = field(default_factory=list)
    forwarded: list[str] = field(default_factory=list)
    attachments: list[Attachment] = field(default_factory=list)
    calendar_methods: list[str] = field(default_factory=list)  # of calendars that are shown, not merely attached
    # Plain text that is attached, and programs' own boxes: they hold the letter itself, where there is no other.
    text_files: list[Node] = field(default_factory=list)
    boxes: list[Box] = field(default_factory=list)


def contents_of(root: Node, allowance: Allowance) -> Contents:
    """Read the whole tree."""
    contents = Contents()
    _collect(root, contents, allowance, depth=0)
    if not any(line.text.strip() for line in contents.lines):
        # What is written on a telephone may come as a picture message, its words in a file of their own.
        for node in contents.text_files:
            contents.lines.extend([*_lines(node, allowance), Line("")])
    if not any(line.text.strip() for line in contents.lines):
        for box in contents.boxes:
            contents.lines.extend(_lines_of_box(box, allowance))
    if len(contents.lines) > MAX_LINES:
        allowance.notice("not_read", "The message is very long; its end was not read.")
        del contents.lines[MAX_LINES:]
    return contents


def _collect(node: Node, contents: Contents, allowance: Allowance, depth: int) -> None:
    if node.content_type.startswith("multipart/"):
        if node.content_type == "multipart/alternative":
            _alternative(node, contents, allowance, depth)
        else:
            for child in node.children:
                _collect(child, contents, allowance, depth + 1)
    elif node.content_type in ("message/rfc822", "message/global", "text/rfc822-headers"):
        _attached_message(node, contents, allowance, depth)
    elif node.content_type in _NOT_FOR_PEOPLE:
        return
    elif _is_text(node, contents):
        lines = _lines(node, allowance)
        if contents.lines and any(line.text for line in lines):
            contents.lines.append(Line(""))
        contents.lines.extend(lines)
    elif not (_is_sealed(node) and _signed_as_a_whole(node, contents, allowance, depth)):
        if _is_box(node):
            _open_box(node, contents, allowance)
        if _is_sealed(node):
            allowance.notice("sealed", "The message is encrypted, or sealed as a whole; its words cannot be read here.")
        if node.content_type == "text/plain":
            contents.text_files.append(node)
        if node.content_type == "text/calendar" and node.disposition != "attachment":
            contents.calendar_methods.append(node.method or _method_within(node, allowance))
        _attach(node, contents, allowance)


def _is_sealed(node: Node) -> bool:
    return node.content_type in _SEALED or node.name.lower().endswith(".p7m")


def _signed_as_a_whole(node: Node, contents: Contents, allowance: Allowance, depth: int) -> bool:
    """Read what an S/MIME message encloses that is only signed; False where it is sealed."""
    content = signed_content(transfer_decoded(node, allowance))
    inner = read_attached(replace(node, body=content, encoding=""), allowance, depth) if content else None
    if inner is None:
        return False
    allowance.notice("signature_unchecked", "The message is signed as a whole; the signature was not checked.")
    _collect(inner, contents, allowance, depth + 1)
    return True


def _is_box(node: Node) -> bool:
    return node.content_type in _BOXES or node.name.lower() == "winmail.dat"


def _open_box(node: Node, contents: Contents, allowance: Allowance) -> None:
    box = box_contents(transfer_decoded(node, allowance))
    if box is None:
        allowance.notice("box_not_read", "A part in a mail program's own form (winmail.dat) could not be read.")
        return
    contents.boxes.append(box)
    for name in box.names[:MAX_ATTACHMENTS]:
        plain = tidy(re.split(r"[/\\]", name)[-1]).strip()[:200]
        kind = mimetypes.guess_type(plain)[0] or "application/octet-stream"
        if plain and len(contents.attachments) < MAX_ATTACHMENTS:
            contents.attachments.append(Attachment(plain, kind, 0))
    if box.names:
        allowance.notice("boxed", "Files came in a mail program's own form (winmail.dat): they are named, not opened.")


def _lines_of_box(box: Box, allowance: Allowance) -> list[Line]:
    text = box.text or box.html
    if len(text) > allowance.text_left:
        allowance.notice("not_read", "The message is very long; its end was not read.")
        text = text[: allowance.text_left]
    allowance.text_left -= len(text)
    if box.text.strip():
        return _plain_lines(tidy(text), flowed=False, delete_space=False)
    lines, hidden = visible_lines(text)
    if hidden:
        allowance.notice("hidden_text", _HIDDEN)
    return lines


def _alternative(node: Node, contents: Contents, allowance: Allowance, depth: int) -> None:
    """One of several forms of the same text: the plain one, unless it is empty or only a stand-in for the HTML."""
    read: list[tuple[str, Contents]] = []
    for child in node.children:
        one = Contents()
        _collect(child, one, allowance, depth + 1)
        read.append((child.content_type, one))
        contents.attachments.extend(one.attachments)
        contents.forwarded.extend(one.forwarded)
        contents.calendar_methods.extend(one.calendar_methods)
        contents.text_files.extend(one.text_files)
        contents.boxes.extend(one.boxes)
    texts = [(kind, one.lines) for kind, one in read if any(line.text.strip() for line in one.lines)]
    plain = [lines for kind, lines in texts if kind == "text/plain" and not (len(texts) > 1 and _is_stand_in(lines))]
    chosen = plain[0] if plain else (texts[-1][1] if texts else [])
    if contents.lines and chosen:
        contents.lines.append(Line(""))
    contents.lines.extend(chosen)


def _is_stand_in(lines: list[Line]) -> bool:
    text = "\n".join(line.text for line in lines).strip()
    return len(text) < 300 and (not re.search(r"\w", text) or bool(_STAND_IN.search(text)))


def _is_text(node: Node, contents: Contents) -> bool:
    if node.disposition == "attachment" or not node.content_type.startswith("text/"):
        return False
    if node.content_type in ("text/calendar", "text/vcard", "text/x-vcard", "text/directory", "text/csv", "text/rtf"):
        return False
    return not (node.name and (contents.lines or contents.attachments))


def _lines(node: Node, allowance: Allowance) -> list[Line]:
    if allowance.text_left <= 0:
        allowance.notice("not_read", "The message is very long; its end was not read.")
        return []
    data = transfer_decoded(node, allowance, allowance.text_left + 1)
    if len(data) > allowance.text_left:
        allowance.notice("not_read", "The message is very long; its end was not read.")
        data = data[: allowance.text_left]
    allowance.text_left -= len(data)
    charset = node.charset
    if node.content_type == "text/html" and not charset:
        match = re.search(rb"charset\s*=\s*[\"']?([A-Za-z0-9_.:-]{1,40})", data[:4096])
        charset = match[1].decode("ascii") if match else ""
    text, sure = decoded(data, charset)
    if not sure:
        allowance.notice(
            "charset", "Some characters could not be read for certain: the message names its writing wrongly."
        )
    if text.count("\n") > MAX_LINES:
        allowance.notice("not_read", "The message is very long; its end was not read.")
        text = "\n".join(text.split("\n", MAX_LINES)[:MAX_LINES])
    if node.content_type in ("text/enriched", "text/richtext"):
        text = _enriched(text)
    if node.content_type in _PAGES or _PAGE.match(text):
        if len(text) > MAX_HTML or text.count("<") > MAX_TAGS:
            allowance.notice("not_read", "The message is very long; its end was not read.")
        lines, hidden = visible_lines(text)
        if hidden:
            allowance.notice("hidden_text", _HIDDEN)
        return lines
    words, armour, sealed = without_armour(tidy(text))
    if sealed:
        allowance.notice("sealed", "The message is encrypted, or sealed as a whole; its words cannot be read here.")
    lines = _plain_lines(words, flowed=node.flowed, delete_space=node.delete_space)
    return [*lines, *(Line(line, 0, signature=True) for line in armour.split("\n") if line)]


def _enriched(text: str) -> str:
    """Enriched text (RFC 1896) as a page: a single line break is a space, its parameters are no words."""
    text = re.sub(r"<param>[^<]{0,500}</param>", "", text, flags=re.IGNORECASE).replace("<<", "&lt;")
    return re.sub(r"\n(\n{0,50})", lambda breaks: "<br>" * len(breaks[1]) or " ", text)


def _plain_lines(text: str, *, flowed: bool, delete_space: bool) -> list[Line]:
    """Lines with their quote depth; format=flowed is put together again (RFC 3676 section 4)."""
    lines: list[Line] = []
    joining = False
    for raw in text.split("\n"):
        depth, said = _unquoted(raw)
        if flowed and said.startswith(" "):
            said = said[1:]
        soft = flowed and said.endswith(" ") and said != "-- "
        shown = said[:-1] if soft and delete_space else said
        if joining and lines[-1].depth == depth and said != "-- ":
            lines[-1] = Line(lines[-1].text + shown, depth)
        else:
            lines.append(Line(shown, depth))
        # A paragraph is put together up to this length only: joining piece by piece must stay linear.
        joining = soft and len(lines[-1].text) < 20_000
    return [Line(line.text if line.text == "-- " else line.text.rstrip(), line.depth) for line in lines]


def _unquoted(line: str) -> tuple[int, str]:
    """Quote marks at the beginning of a line, counted, and the rest of it."""
    match = re.match(r"(?:[>＞][ ]?){1,100}", line)
    if match is None:
        return 0, line
    rest = line[match.end() :]
    return len(re.findall("[>＞]", match[0])), (" " if match[0].endswith(" ") and not rest else "") + rest


def _attached_message(node: Node, contents: Contents, allowance: Allowance, depth: int) -> None:
    if node.content_type == "text/rfc822-headers":
        headers = tidy(decoded(transfer_decoded(node, allowance, 20_000))[0]).strip()
        contents.forwarded.append(headers)
        return
    inner = read_attached(node, allowance, depth)
    if inner is None:
        _attach(node, contents, allowance)
        return
    within = Contents()
    _collect(inner, within, allowance, depth + 1)
    said = [
        f"{name}: {header_text(inner.first(name.lower()))}"
        for name in ("From", "Date", "Subject")
        if inner.has(name.lower())
    ]
    text = "\n".join([*said, "", *(line.text for line in within.lines)]).strip()
    if text:
        contents.forwarded.append(text)
    contents.forwarded.extend(within.forwarded)
    _attach(node, contents, allowance, name=node.name or header_text(inner.first("subject"))[:100] or "message.eml")
    contents.attachments.extend(within.attachments)


def _attach(node: Node, contents: Contents, allowance: Allowance, *, name: str = "") -> None:
    if len(contents.attachments) >= MAX_ATTACHMENTS:
        allowance.notice("not_read", "The message holds more attachments than are listed.")
        return
    shown = name or attachment_name(node, len(contents.attachments) + 1)
    contents.attachments.append(Attachment(tidy(shown), node.content_type, decoded_size(node)))


def _method_within(node: Node, allowance: Allowance) -> str:
    text = decoded(transfer_decoded(node, allowance, 20_000))[0]
    match = re.search(r"^METHOD:([A-Za-z]{1,30})", text, re.MULTILINE)
    return match[1].upper() if match else ""
