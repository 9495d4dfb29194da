"""Bytes to text: declared, wrongly declared and undeclared character sets."""

from __future__ import annotations

import codecs
import re
import unicodedata

# Names that mail programs use for something wider than what they name (common practice).
_WIDER = {
    "us-ascii": "utf-8",
    "ascii": "utf-8",
    "iso-8859-1": "cp1252",
    "latin-1": "cp1252",
    "latin1": "cp1252",
    "iso-8859-9": "cp1254",
    "ks_c_5601-1987": "cp949",
    "ks_c_5601": "cp949",
    "euc-kr": "cp949",
    "euc_kr": "cp949",
    "gb2312": "gb18030",
    "gbk": "gb18030",
    "shift_jis": "cp932",
    "big5": "cp950",
}
# Codecs that are no character sets of mail: they would run over the text in other ways.
_NOT_CHARSETS = {"idna", "punycode", "unicode_escape", "raw_unicode_escape", "undefined", "mbcs", "oem"}
_SEVERAL_BYTES = (
    "utf-16",
    "utf-32",
    "utf-7",
    "iso2022",
    "cp949",
    "cp932",
    "cp950",
    "gb",
    "euc",
    "hz",
    "johab",
    "big5",
    "shift",
)
_INVISIBLE = re.compile(r"[\u00ad\u200b\u2060\ufeff\u202a-\u202e\u2066-\u2069]")
# Control characters, and halves of characters, which no database and no mail can hold (UTF-7 can spell them).
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x84\x86-\x9f\ud800-\udfff]")


def known_charset(name: str) -> str:
    """The codec for a declared character set; empty where there is none by that name."""
    asked = name.strip().strip("'\"").lower()
    asked = _WIDER.get(asked, asked)
    if not asked or not re.fullmatch(r"[a-z0-9._:-]{1,40}", asked):
        return ""
    try:
        found = codecs.lookup(asked)
    except (LookupError, ValueError):
        return ""
    if found.name in _NOT_CHARSETS or not getattr(found, "_is_text_encoding", True):
        return ""
    return found.name


def decoded(data: bytes, declared: str = "") -> tuple[str, bool]:
    """The text of these bytes, and whether it could be read without a guess or a loss."""
    codec = known_charset(declared)
    for mark, name in ((codecs.BOM_UTF8, "utf-8"), (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16")):
        if data.startswith(mark):
            codec = name
    if data.isascii() and codec in ("", "utf-8", "cp1252"):
        return data.decode("ascii"), True
    # Valid UTF-8 beyond ASCII hardly ever comes about by chance, whatever single-byte set was declared.
    if not codec.startswith(_SEVERAL_BYTES):
        utf8 = _strict(data, "utf-8")
        if utf8 is not None:
            return utf8, True
    if codec:
        text = _strict(data, codec)
        if text is not None:
            return text, True
        utf8 = _strict(data, "utf-8")
        if utf8 is not None:
            return utf8, True
        if codec not in ("utf-8", "cp1252"):
            return _lossy(data, codec), False
    korean = _strict(data, "cp949")
    if korean is not None and _mostly_hangul(korean):
        return korean, False
    if codec == "utf-8" and _mostly_utf8(data):
        return data.decode("utf-8", "replace"), False
    return data.decode("cp1252", "replace"), False


def tidy(text: str) -> str:
    """Text as it is kept: composed (NFC), newlines as \\n, no invisible or control characters, plain spaces."""
    text = (
        text.replace("\r\n", "\n")
        .replace("\r", "\n")
        .replace("\u2028", "\n")
        .replace("\u2029", "\n")
        .replace("\x85", "\n")
    )
    text = _CONTROL.sub("", _INVISIBLE.sub("", text))
    return unicodedata.normalize("NFC", re.sub(r"[\u00a0\u202f\u2007]", " ", text))


def _strict(data: bytes, codec: str) -> str | None:
    try:
        return data.decode(codec)
    except (UnicodeError, LookupError, ValueError):
        return None


def _lossy(data: bytes, codec: str) -> str:
    try:
        return data.decode(codec, "replace")
    except (UnicodeError, LookupError, ValueError):
        return data.decode("cp1252", "replace")


def _mostly_hangul(text: str) -> bool:
    wide = [c for c in text if ord(c) > 127]
    return len(wide) >= 2 and sum("\uac00" <= c <= "\ud7a3" for c in wide) >= 0.8 * len(wide)


def _mostly_utf8(data: bytes) -> bool:
    text = data.decode("utf-8", "replace")
    good = sum(ord(c) > 127 and c != "\ufffd" for c in text)
    return good > 2 * text.count("\ufffd")
