"""Letters inside other wrappings: signed as a whole (S/MIME), in armour (PGP), in a program's own box (winmail.dat).

Sources: RFC 8551 and RFC 5652 (S/MIME, CMS; only the enclosed content is taken out, no signature is checked),
RFC 4880 section 7 (clear-signed text). The box of winmail.dat (MS-OXTNEF) and the packed text in it (MS-OXRTFCP) are
read as their maker's open specifications describe them, from memory. All is read within limits, nothing is run.
"""

from __future__ import annotations

import re
import struct
from collections.abc import Iterator
from dataclasses import dataclass, field

from replacements.mail.charsets import decoded

MAX_BOX = 8 * 1024 * 1024  # bytes of a wrapping that are looked at
MAX_PACKED = 2 * 1024 * 1024  # bytes of unpacked text
_SIGNED_DATA = bytes.fromhex("2a864886f70d010702")
_DATA = bytes.fromhex("2a864886f70d010701")
_SEQUENCE, _OCTETS, _OID, _CONTEXT_0 = 0x30, 0x04, 0x06, 0xA0
_MAX_PIECES = 100_000


class _NotReadable(Exception):
    """The bytes are not of the form that they say they are."""


def signed_content(data: bytes) -> bytes | None:
    """What a message that is signed as a whole encloses, or None where it is sealed or is none."""
    try:
        outer = _inside(data[:MAX_BOX], 0, _SEQUENCE)
        at = _expect(data, outer[0], _OID, _SIGNED_DATA)
        explicit = _inside(data, at, _CONTEXT_0)
        signed = _inside(data, explicit[0], _SEQUENCE)
        at = _after(data, signed[0])  # the version
        at = _after(data, at)  # the digests
        content = _inside(data, at, _SEQUENCE)
        at = _expect(data, content[0], _OID, _DATA)
        held = _inside(data, at, _CONTEXT_0)
        return b"".join(_octets(data, held[0], depth=0))
    except (_NotReadable, IndexError, RecursionError):
        return None


def _head(data: bytes, at: int) -> tuple[int, int, int | None]:
    """Tag, where the content begins, and its length; None for one that ends with two zero bytes (BER)."""
    tag, size = data[at], data[at + 1]
    at += 2
    if size == 0x80:
        return tag, at, None
    if size > 0x80:
        count = size & 0x7F
        if count > 4:
            raise _NotReadable
        size, at = int.from_bytes(data[at : at + count], "big"), at + count
    return tag, at, size


def _inside(data: bytes, at: int, tag: int) -> tuple[int, int | None]:
    found, start, size = _head(data, at)
    if found != tag:
        raise _NotReadable
    return start, size


def _expect(data: bytes, at: int, tag: int, value: bytes) -> int:
    start, size = _inside(data, at, tag)
    if size is None or data[start : start + size] != value:
        raise _NotReadable
    return start + size


def _after(data: bytes, at: int, depth: int = 0) -> int:
    """Where the next element begins."""
    _, start, size = _head(data, at)
    if size is not None:
        return start + size
    if depth > 20:
        raise _NotReadable
    while data[start : start + 2] != b"\0\0":
        start = _after(data, start, depth + 1)
    return start + 2


def _octets(data: bytes, at: int, depth: int) -> Iterator[bytes]:
    """The pieces of an octet string, which may be cut into many."""
    tag, start, size = _head(data, at)
    if tag == _OCTETS and size is not None:
        if start + size > len(data):
            raise _NotReadable
        yield data[start : start + size]
        return
    if tag != (_OCTETS | 0x20) or depth > 3:
        raise _NotReadable
    end = len(data) if size is None else min(start + size, len(data))
    for _ in range(_MAX_PIECES):
        if start >= end or (size is None and data[start : start + 2] == b"\0\0"):
            return
        yield from _octets(data, start, depth + 1)
        start = _after(data, start)


_ARMOUR = re.compile(r"-----(BEGIN|END) PGP ([A-Z ]{3,40})-----[ \t]*")


def without_armour(text: str) -> tuple[str, str, bool]:
    """Plain text without PGP's armour: the words, the lines of the signature, and whether something stays sealed."""
    if "-----BEGIN PGP " not in text:
        return text, "", False
    words: list[str] = []
    armour: list[str] = []
    inside, heading, sealed = "", False, False
    for line in text.split("\n"):
        match = _ARMOUR.fullmatch(line)
        if match:
            if match[2] == "MESSAGE":
                sealed = True
            else:
                armour.append(line)
            inside, heading = (match[2], True) if match[1] == "BEGIN" else ("", False)
        elif inside == "SIGNED MESSAGE":
            if heading:  # "Hash: …", up to a blank line
                heading = bool(line.strip())
            else:
                words.append(line[2:] if line.startswith("- ") else line)
        elif inside:
            if inside != "MESSAGE":
                armour.append(line)
        else:
            words.append(line)
    return "\n".join(words), "\n".join(armour), sealed


@dataclass(slots=True)
class Box:
    """What was found in a winmail.dat."""

    text: str = ""
    html: str = ""
    names: list[str] = field(default_factory=list)  # of the files in it


_TNEF = 0x223E9F78
_BODY, _TITLE, _PROPERTIES, _ATTACHED_PROPERTIES, _CODE_PAGE = 0x2800C, 0x18010, 0x69003, 0x69005, 0x69007
_PR_BODY, _PR_HTML, _PR_RTF, _PR_LONG_NAME = 0x1000, 0x1013, 0x1009, 0x3707
_SIZES = {0x0002: 4, 0x0003: 4, 0x0004: 4, 0x000A: 4, 0x000B: 4, 0x0005: 8, 0x0006: 8, 0x0007: 8, 0x0014: 8, 0x0040: 8}
_STRETCHED = (0x001E, 0x001F, 0x0102, 0x000D)  # texts and bytes, each with its length before it


def box_contents(data: bytes) -> Box | None:
    """The words and file names in a winmail.dat; None where the bytes are none."""
    if len(data) < 6 or struct.unpack_from("<I", data)[0] != _TNEF:
        return None
    box, rtf, charset, at = Box(), b"", "cp1252", 6
    data = data[:MAX_BOX]
    for _ in range(2000):
        if at + 9 > len(data):
            break
        attribute, size = struct.unpack_from("<II", data, at + 1)
        value = data[at + 9 : at + 9 + size]
        at += 9 + size + 2
        if attribute == _CODE_PAGE and len(value) >= 4:
            charset = f"cp{struct.unpack_from('<I', value)[0]}"
        elif attribute == _BODY:
            box.text = box.text or decoded(value.rstrip(b"\0"), charset)[0]
        elif attribute == _TITLE:
            box.names.append(decoded(value.rstrip(b"\0"), charset)[0])
        elif attribute in (_PROPERTIES, _ATTACHED_PROPERTIES):
            for number, kind, raw in _properties(value):
                text = decoded(raw.rstrip(b"\0"), charset)[0] if kind != 0x001F else raw.decode("utf-16-le", "replace")
                text = text.rstrip("\0")
                if attribute == _ATTACHED_PROPERTIES:
                    if number == _PR_LONG_NAME and text and box.names:
                        box.names[-1] = text
                elif number == _PR_BODY:
                    box.text = text or box.text
                elif number == _PR_HTML:
                    box.html = text
                elif number == _PR_RTF:
                    rtf = raw
    if not box.text and not box.html and rtf:
        box.text = _rtf_text(_unpacked(rtf))
    return box


def _properties(data: bytes) -> Iterator[tuple[int, int, bytes]]:
    """(number, kind, value) of each property, as long as they can be followed."""
    at = 4
    for _ in range(2000):
        if at + 4 > len(data):
            return
        kind, number = struct.unpack_from("<HH", data, at)
        at += 4
        if number >= 0x8000:  # a property with a name of its own
            at = _past_name(data, at)
        several = bool(kind & 0x1000)
        kind &= 0x0FFF
        count = 1
        if several or kind in _STRETCHED:
            if at + 4 > len(data):
                return
            (count,) = struct.unpack_from("<I", data, at)
            at += 4
        for _ in range(min(count, 1000)):
            size = _SIZES.get(kind)
            if kind in _STRETCHED:
                if at + 4 > len(data):
                    return
                (size,) = struct.unpack_from("<I", data, at)
                at += 4
            if size is None or at + size > len(data):
                return
            if not several:
                yield number, kind, data[at : at + size]
            at += size + (-size % 4)


def _past_name(data: bytes, at: int) -> int:
    if at + 24 > len(data):
        return len(data)
    kind, value = struct.unpack_from("<II", data, at + 16)
    return at + 24 + (value + (-value % 4) if kind == 1 else 0)


_DICTIONARY = (
    b"{\\rtf1\\ansi\\mac\\deff0\\deftab720{\\fonttbl;}{\\f0\\fnil \\froman \\fswiss \\fmodern \\fscript \\fdecor "
    b"MS Sans SerifSymbolArialTimes New RomanCourier{\\colortbl\\red0\\green0\\blue0\r\n\\par "
    b"\\pard\\plain\\f0\\fs20\\b\\i\\u\\tab\\tx"
)


def _unpacked(data: bytes) -> bytes:
    """Compressed RTF unpacked: bytes as they are, and references into a ring of 4,096 that begins with common words."""
    if len(data) < 16:
        return b""
    _, size, mark = struct.unpack_from("<III", data)
    if mark == 0x414C454D:  # not packed after all
        return data[16 : 16 + min(size, MAX_PACKED)]
    if mark != 0x75465A4C:
        return b""
    ring = bytearray(_DICTIONARY.ljust(4096, b"\0"))
    write, at = len(_DICTIONARY), 16
    out = bytearray()
    while at < len(data) and len(out) < min(size, MAX_PACKED):
        control, at = data[at], at + 1
        for bit in range(8):
            if at >= len(data):
                break
            if not control >> bit & 1:
                out.append(data[at])
                ring[write] = data[at]
                write, at = (write + 1) & 0xFFF, at + 1
                continue
            if at + 1 >= len(data):
                return bytes(out)
            token, at = data[at] << 8 | data[at + 1], at + 2
            place, length = token >> 4, (token & 0xF) + 2
            if place == write:
                return bytes(out)
            for step in range(length):
                byte = ring[(place + step) & 0xFFF]
                out.append(byte)
                ring[write] = byte
                write = (write + 1) & 0xFFF
    return bytes(out[:size])


_RTF = re.compile(rb"\\([a-z]{1,32})(-?\d{1,10})? ?|\\'([0-9a-fA-F]{2})|\\([^a-z])|([{}])|([^\\{}\r\n]+)|[\r\n]+")
_ASIDE = {b"fonttbl", b"colortbl", b"stylesheet", b"info", b"pict", b"object", b"header", b"footer", b"themedata"}


def _rtf_text(data: bytes) -> str:
    """The visible words of RTF; of HTML packed in RTF likewise, its tags left out."""
    out: list[str] = []
    waiting = b""
    aside, hidden, stand_in = [False], False, False
    for match in _RTF.finditer(data[:MAX_PACKED]):
        word, number, byte, sign, brace, plain = match.groups()
        if brace == b"{" and len(aside) < 500:
            aside.append(aside[-1])
        elif brace == b"}" and len(aside) > 1:
            aside.pop()
        elif word in _ASIDE or sign == b"*":
            aside[-1] = True
        elif word == b"htmlrtf":
            hidden = number != b"0"
        if aside[-1] or hidden:
            continue
        if stand_in and (byte or plain):  # what stands for a character in programs that do not know it
            stand_in, plain = False, (plain or b"")[1:]
            byte = None
            if not plain:
                continue
        if byte or plain:
            waiting += bytes.fromhex(byte.decode()) if byte else plain
            continue
        out.append(decoded(waiting, "cp1252")[0])
        waiting = b""
        if word in (b"par", b"line"):
            out.append("\n")
        elif word == b"tab":
            out.append("\t")
        elif word == b"u" and number:
            code = int(number) & 0xFFFF
            out.append(chr(code))
            stand_in = True
        elif sign and sign in b"\\{}":
            out.append(sign.decode())
        elif sign == b"~":
            out.append(" ")
    out.append(decoded(waiting, "cp1252")[0])
    return "".join(out)
