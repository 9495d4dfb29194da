"""Letters that are signed, sealed, in armour or in a program's own box: what can be read is read, the rest is told."""

from __future__ import annotations

import base64
import struct

import pytest

from replacements.mail.letter import Letter, PartLabel
from replacements.mail.parsing import parse

INNER = b"Content-Type: text/plain; charset=utf-8\r\n\r\nI tore my ballot.\r\nAda Fenn\r\n"


def _mail(head: str, body: bytes) -> Letter:
    return parse(f"From: ada@home.example\nSubject: ballot\nMIME-Version: 1.0\n{head}\n\n".encode() + body)


def _codes(letter: Letter) -> set[str]:
    return {notice.code for notice in letter.notices}


def _der(tag: int, *content: bytes) -> bytes:
    body = b"".join(content)
    size = len(body)
    return bytes([tag]) + (bytes([size]) if size < 128 else b"\x82" + size.to_bytes(2, "big")) + body


def _open(tag: int, *content: bytes) -> bytes:
    """An element whose end is marked, as programs write that sign while they send (BER)."""
    return bytes([tag, 0x80]) + b"".join(content) + b"\0\0"


SIGNED, SEALED, DATA = (bytes.fromhex(f"2a864886f70d0107{n}") for n in ("02", "03", "01"))


def _signed(content: bytes, *, kind: bytes = SIGNED, streamed: bool = False, cut: bool = False) -> bytes:
    """The outer parts of CMS SignedData (RFC 5652 section 5.1); certificates and signatures are left out."""
    put = _open if streamed else _der
    octets = _der(0x04, content)
    if cut:
        octets = put(0x24, *(_der(0x04, content[at : at + 10]) for at in range(0, len(content), 10)))
    held = put(0x30, _der(0x06, DATA), put(0xA0, octets))
    return put(0x30, _der(0x06, kind), put(0xA0, put(0x30, _der(0x02, b"\1"), _der(0x31), held, _der(0x31))))


OPAQUE = (
    'Content-Type: application/pkcs7-mime; smime-type=signed-data; name="smime.p7m"\nContent-Transfer-Encoding: base64'
)


@pytest.mark.parametrize("streamed", [False, True])
@pytest.mark.parametrize("cut", [False, True])
def test_a_letter_signed_as_a_whole_is_read(streamed: bool, cut: bool) -> None:
    letter = _mail(OPAQUE, base64.encodebytes(_signed(INNER, streamed=streamed, cut=cut)))
    assert letter.new_text == "I tore my ballot.\nAda Fenn"
    assert "sealed" not in _codes(letter)
    assert "signature_unchecked" in _codes(letter)


def test_a_whole_tree_of_parts_may_be_signed() -> None:
    inner = (
        b"Content-Type: multipart/mixed; boundary=i\n\n--i\nContent-Type: text/plain\n\nI tore it.\n"
        b"--i\nContent-Type: image/png; name=torn.png\nContent-Transfer-Encoding: base64\n\niVBOR\n--i--\n"
    )
    letter = _mail(OPAQUE, base64.encodebytes(_signed(inner)))
    assert letter.new_text == "I tore it."
    assert letter.pictures == ("torn.png",)


def test_signed_bytes_that_a_server_renamed_are_still_known() -> None:
    head = 'Content-Type: application/octet-stream; name="smime.p7m"\nContent-Transfer-Encoding: base64'
    assert _mail(head, base64.encodebytes(_signed(INNER))).new_text.startswith("I tore my ballot.")


@pytest.mark.parametrize(
    "data",
    [
        _signed(INNER, kind=SEALED),
        _signed(INNER)[:40],
        b"",
        b"\x30\x80" * 5000,
        b"\x30\x84\xff\xff\xff\xff" + b"x" * 50,
        b"\x30\x89" + b"\xff" * 20,
        _open(0x24, b"\x24\x80" * 3000),
    ],
)
def test_what_is_sealed_or_broken_is_told(data: bytes) -> None:
    letter = _mail(OPAQUE, base64.encodebytes(data))
    assert letter.new_text == ""
    assert "sealed" in _codes(letter)


@pytest.mark.parametrize("kind", ["application/pkcs7-signature", "application/pgp-signature"])
def test_a_letter_with_its_signature_beside_it_is_read(kind: str) -> None:
    body = (
        b"--s\nContent-Type: text/plain\n\nI tore my ballot.\n\n-- \nFenn Roofing LLC\nwww.fenn.example\n"
        b"--s\nContent-Type: " + kind.encode() + b"; name=sig\nContent-Transfer-Encoding: base64\n\nMIIB\n--s--\n"
    )
    letter = _mail(f'Content-Type: multipart/signed; protocol="{kind}"; boundary=s', body)
    assert letter.new_text == "I tore my ballot."
    assert "Fenn Roofing" in letter.text(PartLabel.SIGNATURE)
    assert [one.name for one in letter.attachments] == ["sig"]


def test_a_letter_sealed_by_pgp_is_told() -> None:
    body = (
        b"--e\nContent-Type: application/pgp-encrypted\n\nVersion: 1\n"
        b"--e\nContent-Type: application/octet-stream; name=x.asc\n\n-----BEGIN PGP MESSAGE-----\n\nhQEM\n--e--\n"
    )
    letter = _mail('Content-Type: multipart/encrypted; protocol="application/pgp-encrypted"; boundary=e', body)
    assert "sealed" in _codes(letter)
    assert letter.new_text == ""


CLEAR = (
    b"-----BEGIN PGP SIGNED MESSAGE-----\nHash: SHA1\n\nI tore my ballot.\n- -- \nFenn Roofing LLC\nwww.fenn.example\n"
    b"-----BEGIN PGP SIGNATURE-----\n\niQIzBAEBCgAdFiEE\n=aBcD\n-----END PGP SIGNATURE-----\n"
)


def test_the_armour_of_a_clear_signed_letter_is_no_word_of_the_writer() -> None:
    letter = _mail("Content-Type: text/plain", CLEAR)
    assert letter.new_text == "I tore my ballot."
    assert "iQIzBAEBCgAdFiEE" in letter.text(PartLabel.SIGNATURE)
    assert "Fenn Roofing LLC" in letter.text(PartLabel.SIGNATURE)
    assert "Hash" not in letter.text()


def test_words_around_armour_that_stays_sealed_are_read() -> None:
    text = b"My ballot is torn.\n\n-----BEGIN PGP MESSAGE-----\n\nhQEMA\n-----END PGP MESSAGE-----\n\nAda Fenn\n"
    letter = _mail("Content-Type: text/plain", text)
    assert letter.new_text.split() == ["My", "ballot", "is", "torn.", "Ada", "Fenn"]
    assert "sealed" in _codes(letter)


def test_a_key_below_a_letter_is_set_apart() -> None:
    text = b"I tore it.\n-----BEGIN PGP PUBLIC KEY BLOCK-----\n\nmQINBF\n-----END PGP PUBLIC KEY BLOCK-----\n"
    assert _mail("Content-Type: text/plain", text).new_text == "I tore it."


def _attribute(level: int, number: int, value: bytes) -> bytes:
    return struct.pack("<BII", level, number, len(value)) + value + struct.pack("<H", sum(value) & 0xFFFF)


def _box(*attributes: bytes) -> bytes:
    return struct.pack("<IH", 0x223E9F78, 1) + b"".join(attributes)


def _properties(*entries: tuple[int, int, bytes]) -> bytes:
    out = struct.pack("<I", len(entries))
    for number, kind, value in entries:
        out += struct.pack("<HHII", kind, number, 1, len(value)) + value + b"\0" * (-len(value) % 4)
    return out


BODY, TITLE, PROPERTIES, FILE_PROPERTIES = 0x2800C, 0x18010, 0x69003, 0x69005
WIDE, BYTES = 0x001F, 0x0102
PLAIN = _attribute(1, BODY, b"I tore my ballot.\r\nAda Fenn\0")
BOXED = 'Content-Type: application/ms-tnef; name="winmail.dat"\nContent-Transfer-Encoding: base64'
RTF = rb"{\rtf1\ansi{\fonttbl{\f0 Times;}}\f0 I tore my b\'e4llot\u8217?s edge.\par Ada\tab Fenn {\*\x hidden}\{\}}"


def _raw_rtf(rtf: bytes) -> bytes:
    return struct.pack("<III", len(rtf) + 12, len(rtf), 0x414C454D) + b"\0\0\0\0" + rtf


@pytest.mark.parametrize(
    "box",
    [
        _box(PLAIN),
        _box(
            _attribute(
                1, PROPERTIES, _properties((0x1000, WIDE, "I tore my ballot.\r\nAda Fenn\0".encode("utf-16-le")))
            )
        ),
        _box(_attribute(1, PROPERTIES, _properties((0x1013, BYTES, b"<p>I tore my ballot.<br>Ada Fenn</p>")))),
        _box(
            _attribute(
                1, PROPERTIES, _properties((0x1009, BYTES, _raw_rtf(rb"{\rtf1 I tore my ballot.\par Ada Fenn}")))
            )
        ),
    ],
)
def test_a_letter_that_stands_in_winmail_dat_alone_is_read(box: bytes) -> None:
    letter = _mail(BOXED, base64.encodebytes(box))
    assert letter.new_text == "I tore my ballot.\nAda Fenn"


def test_rich_text_loses_its_dress_only() -> None:
    box = _box(_attribute(1, PROPERTIES, _properties((0x1009, BYTES, _raw_rtf(RTF)))))
    assert _mail(BOXED, base64.encodebytes(box)).new_text == "I tore my bällot’s edge.\nAda\tFenn {}"


def test_html_packed_in_rich_text_keeps_its_words() -> None:
    rtf = rb"{\rtf1\fromhtml1 {\*\htmltag64 <p>}\htmlrtf {\htmlrtf0 I tore it.{\*\htmltag72 </p>}\htmlrtf }\htmlrtf0}"
    box = _box(_attribute(1, PROPERTIES, _properties((0x1009, BYTES, _raw_rtf(rtf)))))
    assert _mail(BOXED, base64.encodebytes(box)).new_text == "I tore it."


def test_a_letter_beside_its_box_is_read_from_itself_and_the_files_are_named() -> None:
    names = _attribute(2, TITLE, b"TORN~1.JPG\0") + _attribute(
        2, FILE_PROPERTIES, _properties((0x3707, WIDE, "torn ballot.jpg\0".encode("utf-16-le")))
    )
    boxed = base64.encodebytes(_box(_attribute(1, BODY, b"not this\0"), names))
    body = b"--b\nContent-Type: text/plain\n\nI tore it.\n--b\n" + BOXED.encode() + b"\n\n" + boxed + b"\n--b--\n"
    letter = _mail("Content-Type: multipart/mixed; boundary=b", body)
    assert letter.new_text == "I tore it."
    assert letter.pictures == ("torn ballot.jpg",)
    assert "boxed" in _codes(letter)


@pytest.mark.parametrize(
    "data",
    [b"", b"no box", _box(PLAIN)[:5], struct.pack("<I", 0x12345678) + b"\0" * 40],
)
def test_a_box_that_is_none_is_told(data: bytes) -> None:
    assert "box_not_read" in _codes(_mail(BOXED, base64.encodebytes(data)))


@pytest.mark.parametrize(
    "data",
    [
        _box(PLAIN)[:20],
        _box(struct.pack("<BII", 1, BODY, 0xFFFFFFFF)) + b"x" * 9,
        _box(_attribute(1, PROPERTIES, struct.pack("<I", 0xFFFFFFFF) + b"\x1e\0\0\x10\xff\xff\xff\xff" * 30)),
        _box(
            _attribute(1, PROPERTIES, _properties((0x1009, BYTES, struct.pack("<IIII", 9, 0xFFFFFFFF, 0x75465A4C, 0))))
        ),
        _box(*[_attribute(1, 0x12345, b"")] * 90_000),
        _box(_attribute(1, PROPERTIES, _properties((0x1009, BYTES, _raw_rtf(b"{" * 900_000))))),
    ],
)
def test_a_broken_box_gives_what_can_be_had(data: bytes) -> None:
    assert len(_mail(BOXED, base64.encodebytes(data)).new_text) < 100
