"""Header fields as people read them: encoded words, addresses, message ids, dates.

Sources: RFC 5322 section 3.4 and 3.6, RFC 2047 (encoded words; words cut inside a character are joined first).
"""

from __future__ import annotations

import binascii
import re
from datetime import UTC, datetime
from email.utils import getaddresses, parsedate_to_datetime

from replacements.mail.charsets import decoded, tidy

MAX_LINE = 16 * 1024  # characters of a header field that are looked at
MAX_IDS = 200

_WORD = re.compile(r"=\?([^?\s*]{1,60})(?:\*[^?\s]{0,20})?\?([bBqQ])\?([^?]{0,4000})\?=")
_ID = re.compile(r"<[^<>\s\x00-\x1f\x7f]{1,900}>")
_BARE_ID = re.compile(r"[^\s<>,;\x00-\x1f\x7f]{1,400}@[^\s<>,;\x00-\x1f\x7f]{1,400}")
_ADDRESS = re.compile(r"[^\s<>@,;:\"()\[\]]{1,120}@[^\s<>@,;:\"()\[\]]{1,250}\.[^\s<>@,;:\"()\[\].]{1,63}")


def header_text(value: bytes) -> str:
    """A header field as one readable line."""
    return re.sub(r"\s+", " ", tidy(decode_words(_as_text(value)))).strip()


def decode_words(text: str) -> str:
    """Text with its encoded words replaced by what they say. Broken ones stay as they are."""
    out: list[str] = []
    pending, pending_charset = b"", ""
    end = 0
    for match in _WORD.finditer(text):
        between = text[end : match.start()]
        data = _word_bytes(match[2], match[3])
        charset = match[1].lower()
        # White space between two encoded words is not part of the text (RFC 2047 section 6.2).
        if pending and (between.strip() or charset != pending_charset):
            out.append(decoded(pending, pending_charset)[0])
            pending = b""
        if between.strip() or end == 0:
            out.append(between)
        pending, pending_charset = pending + data, charset
        end = match.end()
    if pending:
        out.append(decoded(pending, pending_charset)[0])
    out.append(text[end:])
    return "".join(out)


def addresses(values: list[bytes]) -> list[tuple[str, str]]:
    """(name, lower-case address) of every mailbox in these fields; names decoded."""
    found: list[tuple[str, str]] = []
    for value in values:
        text = _as_text(value)
        if any(text.count(sign) > 20 for sign in "([:"):  # the library's reader goes one call deeper for each of these
            text = re.sub(r"[()\[\]:]", " ", text)
        for name, address in getaddresses([text]):
            plain = _ADDRESS.search(tidy(decode_words(address)))
            if plain or name:
                said = re.sub(r"\s+", " ", tidy(decode_words(name))).strip().strip("'\"")
                found.append((said, plain[0].lower() if plain else ""))
        if not any(address for _, address in found):
            # Newer readers of the library give up on such a field. All that it holds is kept: it may name a decoy, too.
            loose = dict.fromkeys(match.lower() for match in _ADDRESS.findall(text))
            found = [("", address) for address in loose] or found  # "Postmaster <>" keeps its name
    return found


def addresses_in(text: str) -> list[str]:
    """Mail addresses that are written in this text, lower case."""
    return [match.lower().strip(".") for match in _ADDRESS.findall(text[:MAX_LINE])]


def message_ids(value: bytes) -> tuple[str, ...]:
    """The message ids of a field, each in its angle brackets."""
    text = _as_text(value)
    found = _ID.findall(text)
    if not found:
        found = [f"<{bare}>" for bare in _BARE_ID.findall(text)]
    return tuple(found[:MAX_IDS])


def date_of(value: bytes) -> datetime | None:
    """The time that a Date field gives, aware; None where it cannot be read. A missing zone is taken as UTC."""
    text = _as_text(value)[:200].strip()
    try:
        found = parsedate_to_datetime(text)
        aware = found if found.tzinfo is not None else found.replace(tzinfo=UTC)
        aware.astimezone(UTC)  # the edges of the calendar cannot be converted
    except (ValueError, TypeError, IndexError, OverflowError):
        return None
    return aware if aware.year >= 1970 else None


def received_date(value: bytes) -> datetime | None:
    """The time at the end of a Received field (RFC 5322 section 3.6.7)."""
    return date_of(value.rpartition(b";")[2]) if b";" in value else None


def received_by(value: bytes) -> str:
    """The host that wrote a Received field, lower case; empty where it does not say."""
    match = re.search(r"(?:^|\s)by\s+([A-Za-z0-9.-]{1,253})", _as_text(value).partition(";")[0])
    return match[1].lower().rstrip(".") if match else ""


def _as_text(value: bytes) -> str:
    return decoded(value[:MAX_LINE])[0].replace("\n", " ")


def _word_bytes(kind: str, said: str) -> bytes:
    data = said.encode("utf-8", "replace")
    if kind in "qQ":
        return binascii.a2b_qp(data.replace(b" ", b"_"), header=True)
    clean = re.sub(rb"[^A-Za-z0-9+/]", b"", data)
    usable = len(clean) - (1 if len(clean) % 4 == 1 else 0)
    return binascii.a2b_base64(clean[:usable] + b"=" * (-usable % 4))
